"""When a day part starts: a time on the clock, or an event of the sun with a duration added or taken away."""

import re
from typing import Literal, TypeAlias, cast, get_args

from leerie.config import durations
from leerie.config.problems import NotAllowedError, nearest, shown

SunEvent: TypeAlias = Literal["dawn", "sunrise", "noon", "sunset", "dusk"]
EVENTS: tuple[SunEvent, ...] = get_args(SunEvent)

CLOCK = 'a time such as "08:30", from "00:00" to "23:59"'
ALLOWED = 'a time such as "08:30"; or dawn, sunrise, noon, sunset, dusk, plain or as in "sunset - 30m"'

_EVENT = re.compile("([a-z]+)(?:\\s*([-+\N{MINUS SIGN}])\\s*(.*))?")
_FURTHEST_MS = durations.parse("12h")


def clock(text: str) -> int:
    """Seconds after midnight of HH:MM. Raises NotAllowedError."""
    match = re.fullmatch(r"([01][0-9]|2[0-3]):([0-5][0-9])", text)
    if match is None:
        raise NotAllowedError(f"{shown(text)} is no time of day", CLOCK)
    return int(match[1]) * 3600 + int(match[2]) * 60


def parse(text: str) -> int | tuple[SunEvent, int]:
    """Seconds after midnight, or an event of the sun and the seconds added to it. Raises NotAllowedError."""
    if text[:1].isdigit():
        return clock(text)
    match = _EVENT.fullmatch(text.strip())
    if match is None or match[1] not in EVENTS:
        raise NotAllowedError(f"{shown(text)} is no start", ALLOWED, nearest(match and match[1], EVENTS))
    ms = durations.parse(match[3]) if match[2] else 0
    if ms % 1000 or ms > _FURTHEST_MS:
        raise NotAllowedError(f"{shown(text)} does not fit", "whole seconds, at most 12h from the event")
    return cast("SunEvent", match[1]), ms // 1000 * (1 if match[2] == "+" else -1)
