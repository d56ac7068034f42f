"""Day parts: which one holds, since when, and when the next begins.

A part starts on a date, at a time on the site's clocks or with the sun; its start may lie on a neighbouring civil date,
as a northern summer's dusk does. It holds until another begins, over midnight and over days. A room follows only the
parts its own scenes name.
"""

from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple
from zoneinfo import ZoneInfo

import msgspec

from leerie.config import countries
from leerie.config.building import Building, ClockStart, DayPart, Days, SunStart
from leerie.daylight import civil, sun

if TYPE_CHECKING:
    from holidays import HolidayBase

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_US = 86_400 * civil.SECOND_US
LOOK_BACK_US = 15 * DAY_US // 2
"""A week, and half a day more: a weekly part whose start moves with the sun or the clocks leaves no gap."""
LOOK_AHEAD_US = 8 * DAY_US
DATES = range(-9, 11)
"""Dates around today that can have a start in view; one of a sun event ± 12 h may lie a day from its date."""
DATES_KEPT = 64
STARTS_KEPT = 8
"""More blends than these are not under way at once."""


class Start(NamedTuple):
    part: str
    at: int
    """Wall clock, µs UTC."""


class Holding(msgspec.Struct, frozen=True):
    """What holds at an instant. Instants are wall clock, µs UTC."""

    part: str | None
    """None: none of the parts began within a week."""
    began: int | None
    next: int | None
    """When one of the parts begins, the same one included, or this one runs out; None: not within eight days."""
    earlier: tuple[str, ...] = ()
    """The other parts, the one that began last first; those that did not begin within the week come at the end."""
    before: tuple[Start, ...] = ()
    """What began before this, the latest first; of two together only the one that held."""
    stand_in: Literal["last", "brightest"] | None = None
    """The wall clock is not known to be right; `part` is only what the room goes by until it is."""

    @property
    def shown(self) -> str | None:
        """The part as the world is told of it."""
        return None if self.stand_in is not None else self.part


class Calendar:
    """The day parts of a building. What it remembers is for speed alone: the same instant gives the same answer."""

    def __init__(self, building: Building) -> None:
        self._site = building.site
        self._zone = ZoneInfo(building.site.timezone)
        self._parts = building.parts
        self._place = {name: place for place, name in enumerate(building.parts)}
        self._holidays: HolidayBase | None = None
        self._last: dict[tuple[str, ...], Holding] = {}
        self.starts = lru_cache(maxsize=DATES_KEPT)(self._starts)
        """The starts of a local date in their order, two together in the file's."""

    def holding(self, parts: tuple[str, ...], wall: int) -> Holding:
        """Which of `parts` began last by `wall` (µs UTC), looking back over a week; of two together the later one."""
        last = self._last.get(parts)
        if last is None or last.began is None or last.next is None or not last.began <= wall < last.next:
            last = self._last[parts] = self._holding(parts, wall)
        return last

    def _holding(self, parts: tuple[str, ...], wall: int) -> Holding:
        today = civil.local(self._zone, wall).date()
        starts = [start for days in DATES for start in self.starts(today + timedelta(days)) if start.part in parts]
        past = [start for start in starts if wall - LOOK_BACK_US < start.at <= wall]
        past.sort(key=lambda start: (start.at, self._place[start.part]), reverse=True)
        coming = [start.at for start in starts if wall < start.at <= wall + LOOK_AHEAD_US]
        order = tuple(dict.fromkeys([*(start.part for start in past), *parts]))
        if not past:
            return Holding(None, None, min(coming, default=None), order)
        held = [start for newer, start in pairwise(past) if start.at < newer.at]
        runs_out = past[0].at + LOOK_BACK_US
        return Holding(past[0].part, past[0].at, min([*coming, runs_out]), order[1:], tuple(held[:STARTS_KEPT]))

    def _starts(self, day: date) -> tuple[Start, ...]:
        if civil.skipped(self._zone, day):
            return ()
        moments = ((name, self._start(part, day)) for name, part in self._parts.items())
        starts = [Start(name, at) for name, at in moments if at is not None]
        return tuple(sorted(starts, key=lambda start: start.at))

    def _start(self, part: DayPart, day: date) -> int | None:
        """When the part starts on that date, within its bounds."""
        start = next((start for start in part.starts if self._fits(start.days, day)), None)
        if start is None:
            return None
        earliest = None if part.earliest is None else civil.moment(self._zone, day, part.earliest)
        latest = None if part.latest is None else civil.moment(self._zone, day, part.latest)
        if isinstance(start, ClockStart):
            at = civil.moment(self._zone, day, start.second)
        else:
            found = sun.event(self._site, start.event, day, civil.noon_offset(self._zone, day))
            if isinstance(found, str):
                return _instead(start, found, earliest, latest)
            at = found + start.offset_s * civil.SECOND_US
        at = at if earliest is None else max(at, earliest)
        return at if latest is None else min(at, latest)

    def _fits(self, days: Days, day: date) -> bool:
        if not days or WEEKDAYS[day.weekday()] in days:
            return True
        if "holiday" not in days and "workday" not in days:
            return False
        holiday = self._is_holiday(day)
        return ("holiday" in days and holiday) or (
            "workday" in days and not holiday and day.weekday() in self._site.workweek
        )

    def _is_holiday(self, day: date) -> bool:
        if any(first <= day <= last for first, last in self._site.days_off):
            return True
        if self._site.holidays is None:
            return False
        if self._holidays is None:
            self._holidays = countries.public_holidays(self._site.holidays)
        return day in self._holidays


def _instead(start: SunStart, throughout: sun.Throughout, earliest: int | None, latest: int | None) -> int | None:
    """The start where its event does not happen.

    A sun that stays down has set early and will rise late; one that stays up has risen early and will set late.
    """
    ends_the_day = start.event in {"sunset", "dusk"}
    early = ends_the_day == (throughout == "below")
    first, second = (earliest, latest) if early else (latest, earliest)
    return second if first is None else first
