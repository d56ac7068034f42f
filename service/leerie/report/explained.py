"""Why a room's lamps are as they are, or would be, down to what each is sent."""

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import msgspec

from leerie.config.problems import printable
from leerie.reasons import Sent
from leerie.report import steps

WIDTH = 80


def page(title: str, because: Iterable[str], sent: Mapping[str, Sent], faults: Iterable[str] = ()) -> Iterator[str]:
    """Lines of at most 80 columns, unless a payload is longer: each sentence, below a lamp's what it is sent."""
    yield from _wrapped(title, "")
    left = dict(sent)
    for sentence in because:
        yield from _wrapped(sentence, "  ")
        lamp, told, _ = sentence.partition(": ")
        if told and lamp in left and "→" in sentence:
            yield from _wrapped(_sent(left.pop(lamp)), "    ")
    for lamp, found in left.items():
        yield from _wrapped(f"{lamp}: {_sent(found)}", "  ")
    for fault in faults:
        yield from _wrapped(f"fault: {fault}", "  ")


def answer(sky: bytes, room: bytes, sent: Mapping[str, Sent]) -> bytes:
    """For programs, as JSON. `sky` and `room`: as they are published."""
    commands = [{"topic": topic, "payload": payload} for found in sent.values() for topic, payload in found.messages]
    told: dict[str, Any] = {"sky": msgspec.Raw(sky), "room": msgspec.Raw(room), "commands": commands}
    return msgspec.json.encode(told)


def _sent(found: Sent) -> str:
    if found.output > 0:
        return steps.sent(found)
    return f"off: {'; '.join(f'{topic} ← {payload}' for topic, payload in found.messages)}"


def _wrapped(text: str, indent: str) -> list[str]:
    """Broken between words."""
    hanging = f"{indent}  "
    wrapper = textwrap.TextWrapper(WIDTH, indent, hanging, break_long_words=False, break_on_hyphens=False)
    return wrapper.wrap(printable(text))
