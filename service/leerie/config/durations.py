"""Durations as people write them: 90s, 10m, 1h30m, 2d, 0.4s; inside, whole milliseconds."""

import re
from decimal import Decimal

from leerie.config.problems import NotAllowedError, shown
from leerie.now import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

ALLOWED = "a number with a unit such as 90s, 10m, 1h30m, 2d, 0s"
LONGEST_MS = 3650 * DAY_MS

_UNITS = {"d": DAY_MS, "h": HOUR_MS, "m": MINUTE_MS, "s": SECOND_MS}
_NUMBER = r"([0-9]{1,12}(?:\.[0-9]{1,6})?)"
_DURATION = re.compile("".join(f"(?:{_NUMBER}{unit})?" for unit in _UNITS))


def parse(text: object) -> int:
    """Milliseconds of a duration; the units stand in falling order, each at most once.

    Raises NotAllowedError for anything else: a bare number, a finer step than a millisecond, more than ten years.
    """
    match = _DURATION.fullmatch(text) if isinstance(text, str) and text else None
    if match is None:
        raise NotAllowedError(f"{shown(text)} is no duration", ALLOWED)
    exact = sum(Decimal(number) * unit for number, unit in zip(match.groups(), _UNITS.values(), strict=True) if number)
    if exact != int(exact):
        raise NotAllowedError(f"{shown(text)} is finer than a millisecond", ALLOWED)
    if exact > LONGEST_MS:
        raise NotAllowedError(f"{shown(text)} is too long", f"at most {render(LONGEST_MS)}")
    return int(exact)


def render(ms: int) -> str:
    """The shortest text that parses to as many milliseconds: 1h30m, 0s, 0.4s. `ms` is at least 0."""
    text = ""
    for name, unit in _UNITS.items():
        if name == "s":
            seconds, rest = divmod(ms, unit)
            fraction = f".{rest:03d}".rstrip("0") if rest else ""
            if seconds or rest or not text:
                text += f"{seconds}{fraction}s"
        elif count := ms // unit:
            text += f"{count}{name}"
            ms -= count * unit
    return text
