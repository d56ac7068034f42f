"""Bytes become a value: the text itself, or what stands at a pointer in a JSON document.

JSON is read within limits: so many bytes, so deep, no NaN and no infinity (RFC 8259 has neither), no number beyond a
double. Of two equal keys in a sensor's document the last counts, as with most readers (RFC 8259, 4, leaves it open); a
person's wish with two equal keys is refused, since nobody can know which was meant.
"""

import math
import re
from typing import TypeAlias

import msgspec

from leerie.config.building import Pointer
from leerie.intake.refusal import Refusal, quoted

MOST_BYTES = 65_536
MOST_SHOWN = 16
"""Bytes of what is no text that a refusal shows."""
DEEPEST = 32
"""Tables and lists within each other."""

Scalar: TypeAlias = str | int | float | bool | None

_BRACKET = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"?|([\[{])|[\]}]', re.DOTALL)
"""Strings, closed or not (a bracket within one is none), opening brackets, closing ones. Reads no character twice."""
_KEY = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"(\s*:)?')
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")


def text(payload: bytes) -> str:
    """The payload as text, outer space trimmed."""
    if len(payload) > MOST_BYTES:
        raise Refusal("too_large", f"{len(payload)} bytes; at most {MOST_BYTES} are read")
    try:
        return payload.decode().strip()
    except UnicodeDecodeError:
        more = " …" if len(payload) > MOST_SHOWN else ""
        raise Refusal("not_utf8", f"bytes {payload[:MOST_SHOWN].hex(' ')}{more} are no UTF-8 text") from None


def document(spelling: str) -> object:
    """A JSON document: dict, list, str, int, float, bool or None."""
    if spelling.count("[") + spelling.count("{") > DEEPEST and _too_deep(spelling):
        raise Refusal("too_deep", f"JSON nested more than {DEEPEST} deep")
    try:
        return msgspec.json.decode(spelling)
    except ValueError as error:  # DecodeError, and UnicodeDecodeError for what no text can hold
        why = str(error).removeprefix("JSON is malformed: ")
        raise Refusal("not_json", f"{quoted(spelling)} is no JSON ({why})") from None


def scalar(payload: bytes, pointer: Pointer) -> Scalar:
    """The value: the whole payload as text without a pointer, else what stands at the pointer in the JSON document."""
    spelling = text(payload)
    if pointer is None:
        return spelling
    found = _at(document(spelling), pointer)
    if isinstance(found, str | int | float) or found is None:
        return found
    raise Refusal("wrong_type", f"{quoted(found)} stands at {_spelled(pointer)}; allowed: text, a number, true, false")


def fields(spelling: str, allowed: tuple[str, ...]) -> dict[str, object]:
    """A JSON object with none but the allowed keys, each at most once."""
    found = document(spelling)
    if not isinstance(found, dict):
        raise Refusal("wrong_type", f"{quoted(found)} is no JSON object")
    for key in found:
        if key not in allowed:
            raise Refusal("unknown_key", f"unknown key {quoted(key)}; allowed: {', '.join(allowed)}")
    if not any(isinstance(value, dict | list) for value in found.values()) and _keys(spelling) > len(found):
        raise Refusal("not_json", "a key stands twice")
    return found


def word(value: Scalar) -> str:
    """The value as a word: case-folded and trimmed, numbers in their shortest spelling ("1" for 1.0)."""
    if isinstance(value, str):
        return _shortest(value.strip().casefold())
    if isinstance(value, float):
        return _decimal(value)
    return msgspec.json.encode(value).decode()


def number(value: Scalar) -> float | None:
    """The value as a finite number, numeric text included; None if it is none. True and false are no numbers."""
    if value is None or isinstance(value, bool):
        return None
    if isinstance(value, str):
        value = value.strip()
        if not _NUMBER.fullmatch(value):
            return None
    try:
        result = float(value)
    except OverflowError:  # a whole number beyond a double
        return None
    return result + 0.0 if math.isfinite(result) else None


def _too_deep(spelling: str) -> bool:
    depth = 0
    for match in _BRACKET.finditer(spelling):
        if match[1]:
            depth += 1
            if depth > DEEPEST:
                return True
        elif match[0] in "]}":
            depth -= 1
    return False


def _keys(spelling: str) -> int:
    """How many keys a well-formed JSON document writes: strings with a colon after them."""
    return sum(1 for match in _KEY.finditer(spelling) if match[1])


def _at(found: object, pointer: tuple[str, ...]) -> object:
    """RFC 6901, the tokens already split and unescaped."""
    for token in pointer:
        if isinstance(found, dict) and token in found:
            found = found[token]
        elif isinstance(found, list) and _INDEX.fullmatch(token) and int(token) < len(found):
            found = found[int(token)]
        else:
            raise Refusal("no_value", f"nothing stands at {_spelled(pointer)}")
    return found


def _spelled(pointer: tuple[str, ...]) -> str:
    joined = "".join("/" + token.replace("~", "~0").replace("/", "~1") for token in pointer)
    return f"pointer {quoted(joined)}"


def _shortest(folded: str) -> str:
    """A decimal in its shortest spelling, all else as it is: a long whole number may be a name and keeps its digits."""
    if not _NUMBER.fullmatch(folded) or folded.lstrip("+-").isdigit():
        return folded
    value = float(folded)
    return _decimal(value) if math.isfinite(value) else folded


def _decimal(value: float) -> str:
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
