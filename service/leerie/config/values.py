"""The kinds of value a key can take. Each says in its own words what it allows.

Models hold values as they are written ("10m", "sunset - 30m"); what they mean is worked out when the config is
compiled.
"""

import json
import re
from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Any, Literal

from jsonpointer import JsonPointer, JsonPointerException
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag, WithJsonSchema

from leerie.config import durations, starts
from leerie.config.problems import NotAllowedError, nearest, shown

RESERVED = ("vacant", "asked", "background", "day_part", "ever", "kelvin")
TOPIC_BYTES = 65_535
"""MQTT 3.1.1 and 5.0, section 1.5: the longest UTF-8 string that fits."""


class Allowed:
    """Metadata: what a kind of value allows, in words."""

    def __init__(self, words: str) -> None:
        self.words = words


class EnvironmentText(str):
    """Text from the environment or a secret, where a number or a truth value looks like any text."""

    __slots__ = ()


def typed(value: object) -> object:
    """Let text from the environment be the number or the truth value that it spells."""
    if not isinstance(value, EnvironmentText):
        return value
    try:
        spelt = json.loads(value)
    except (ValueError, RecursionError):
        return value
    return spelt if isinstance(spelt, bool | int | float) else value


# ---- tables ----------------------------------------------------------------------------------------------------------


class Table(BaseModel):
    """A TOML table: its keys and no others, each with exactly its own type."""

    # Built as part of the whole config, not each table also for itself.
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, defer_build=True)


# ---- one of several shapes -------------------------------------------------------------------------------------------

_SHAPES: dict[type, str] = {
    bool: "|flag",
    int: "|number",
    float: "|number",
    str: "|text",
    list: "|list",
    dict: "|table",
}
"""The bar keeps a shape's tag apart from every key in an error's path."""

TEXT, LIST, TABLE, NUMBER, FLAG = (Tag(f"|{shape}") for shape in ("text", "list", "table", "number", "flag"))


def shape(value: object) -> str:
    return next((tag for kind, tag in _SHAPES.items() if isinstance(value, kind)), "|other")


PAIR = Field(min_length=2, max_length=2)
BY_SHAPE = Discriminator(shape)
"""Chooses among the tagged members of a union by the value's shape alone, so that an error concerns one member."""

Flag = Annotated[bool, BeforeValidator(typed)]

# ---- text ------------------------------------------------------------------------------------------------------------


def checked(check: Callable[[Any], object]) -> AfterValidator:
    """A check that raises NotAllowedError, as a validator that keeps the value as it is written."""

    def keep(value: Any) -> Any:
        check(value)
        return value

    return AfterValidator(keep)


def _text(value: str) -> None:
    if not value.strip():
        raise NotAllowedError(f"{shown(value)} is empty", "text on one line")
    if not value.isprintable():
        broken = any(end in value for end in "\n\r")
        raise NotAllowedError(f"has a {'line break' if broken else 'control character'} in it", "text on one line")


def _name(value: str) -> None:
    if not re.fullmatch(r"[a-z][a-z0-9_]*", value) or "__" in value:
        raise NotAllowedError(
            f"{shown(value)} is no name", "small letters, digits and single underscores, a letter first"
        )
    if value in RESERVED:
        raise NotAllowedError(f"{value} is a reserved name", f"any name but {', '.join(RESERVED)}")


def _topic(value: str) -> None:
    if "+" in value or "#" in value:
        raise NotAllowedError(f"{shown(value)} holds a wildcard", "one topic, without + and #")
    if not value or not value.isprintable() or value.startswith("$") or len(value.encode()) > TOPIC_BYTES:
        raise NotAllowedError(
            f"{shown(value)} is no topic", "text that is not empty, on one line, not beginning with $"
        )


def _root(value: str) -> None:
    _topic(value)
    if not all(value.split("/")):
        raise NotAllowedError(f"{shown(value)} has an empty level", "a root such as leerie or house/leerie")


def _pointer(value: str) -> None:
    try:
        JsonPointer(value)
    except JsonPointerException:
        raise NotAllowedError(
            f"{shown(value)} is no JSON pointer", "as RFC 6901 has it: /key/0/key, with ~1 for / and ~0 for ~"
        ) from None


def _metrics(value: str) -> None:
    if value:
        address(value)


def address(value: str) -> tuple[str, int]:
    """Host and port of HOST:PORT; an IPv6 host stands in brackets. Raises NotAllowedError."""
    match = re.fullmatch(r"(?:\[([0-9a-fA-F:.]+)\]|([^\s:\[\]]+)):([0-9]{1,5})", value)
    if match is None or int(match[3]) > 65_535:
        raise NotAllowedError(f"{shown(value)} is no address", 'host:port such as "127.0.0.1:9464", or "" for no page')
    return match[1] or match[2], int(match[3])


QUOTED = "text in quotes"
Text = Annotated[str, checked(_text), Allowed(QUOTED)]
Name = Annotated[str, checked(_name), Allowed("a name")]
Topic = Annotated[str, checked(_topic), Allowed("a topic without wildcards")]
Root = Annotated[str, checked(_root), Allowed("a topic without wildcards")]
Pointer = Annotated[str, checked(_pointer), Allowed("a JSON pointer such as /level")]
Metrics = Annotated[str, checked(_metrics), Allowed('host:port such as "127.0.0.1:9464", or "" for no page')]

# ---- time ------------------------------------------------------------------------------------------------------------


def _lasting(value: str) -> None:
    if durations.parse(value) == 0:
        raise NotAllowedError(f"{shown(value)} is no time at all here", "longer than 0s")


def _lasting_or(*words: str) -> Callable[[str], None]:
    """A check for text that is one of these words, or else a duration longer than nothing."""

    def check(value: str) -> None:
        if value in words:
            return
        try:
            _lasting(value)
        except NotAllowedError as error:
            allowed = f"{error.allowed}, or {' or '.join(words)}"
            raise NotAllowedError(error.problem, allowed, nearest(value, words)) from None

    return check


def _keepalive(value: str) -> None:
    ms = durations.parse(value)
    if ms % 1000 or not 1000 <= ms <= 65_535_000:
        raise NotAllowedError(f"{shown(value)} does not fit", "whole seconds, from 1s to 65535s")


def _must_be_text(value: object) -> object:
    """A bare number is told what a duration is, not what text is."""
    if not isinstance(value, str):
        durations.parse(value)
    return value


def _zone(value: str) -> None:
    import zoneinfo  # noqa: PLC0415 - wanted only where a zone is checked

    try:
        zoneinfo.ZoneInfo(value)
    except (KeyError, ValueError, OSError):
        zones = zoneinfo.available_timezones()
        raise NotAllowedError(
            f"{shown(value)} is no time zone that this machine knows",
            "as in Europe/London",
            nearest(value, sorted(zones)),
        ) from None


def _date_text(value: object) -> object:
    """TOML has dates of its own; both spellings mean the same."""
    return value.isoformat() if isinstance(value, date) and not isinstance(value, datetime) else value


def days_off(value: str) -> tuple[date, date]:
    """First and last day of a stretch. Raises NotAllowedError."""
    first, slash, last = value.partition("/")
    try:
        stretch = (date.fromisoformat(first), date.fromisoformat(last if slash else first))
    except ValueError:
        raise NotAllowedError(
            f"{shown(value)} is no date", '"2026-12-24", or "2026-07-17/2026-07-31" for first and last'
        ) from None
    if stretch[0] > stretch[1]:
        raise NotAllowedError(f"{shown(value)} ends before it begins", "the first day before the last")
    return stretch


Duration = Annotated[str, BeforeValidator(_must_be_text), checked(durations.parse), Allowed(durations.ALLOWED)]
Lasting = Annotated[str, BeforeValidator(_must_be_text), checked(_lasting), Allowed(durations.ALLOWED)]
"""Longer than nothing."""
LastingOrNever = Annotated[
    str, BeforeValidator(_must_be_text), checked(_lasting_or("never")), Allowed(durations.ALLOWED)
]
HoldFor = Annotated[
    str, BeforeValidator(_must_be_text), checked(_lasting_or("vacant", "day_part", "ever")), Allowed(durations.ALLOWED)
]
Keepalive = Annotated[
    str, BeforeValidator(_must_be_text), checked(_keepalive), Allowed("whole seconds, from 1s to 65535s")
]
Zone = Annotated[str, checked(_zone), Allowed("a zone of the IANA database such as Europe/London")]
Stretch = Annotated[
    str,
    BeforeValidator(_date_text),
    checked(days_off),
    Allowed('"2026-12-24", or "2026-07-17/2026-07-31" for a stretch'),
]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun", "workday", "holiday"]
Clock = Annotated[str, checked(starts.clock), Allowed(starts.CLOCK)]
At = Annotated[str, checked(starts.parse), Allowed(starts.ALLOWED)]

# ---- what sensors say ------------------------------------------------------------------------------------------------


def word(value: object) -> object:
    """A word that a payload may say, as it is compared: in small letters, numbers and truth in their JSON spelling."""
    match typed(value):
        case bool(flag):
            return "true" if flag else "false"
        case float(number) if number.is_integer() and abs(number) < 1e15:
            return str(int(number))
        case (int() | float()) as number if abs(number) < 1e40:
            return json.dumps(number)
        case str(text):
            return text.strip().casefold()
    return value


Word = Annotated[
    str,
    BeforeValidator(word),
    WithJsonSchema({"type": ["string", "number", "boolean"]}),
    Allowed("text, a number, true or false"),
]
