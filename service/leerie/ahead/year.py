"""The coming year: every start in it, looked up once, and the days of a room as they follow from them."""

import sys
from bisect import bisect_right
from collections.abc import Iterator
from datetime import date, timedelta
from functools import cached_property, partial
from itertools import islice, takewhile
from operator import attrgetter
from typing import NamedTuple
from zoneinfo import ZoneInfo

from leerie import eye
from leerie.ahead.almanac import Almanac
from leerie.ahead.stretches import Stretch, between, stretches
from leerie.config.building import Building, Room
from leerie.daylight import civil, sun
from leerie.daylight.calendar import DATES, LOOK_BACK_US, Calendar, Start

DAYS = 365
WEEK = 7
MOMENT_US = 5 * 60 * civil.SECOND_US
"""Common practice, no source: what is over so soon is no evening's light."""


class Evening(NamedTuple):
    """A part that holds at some time in the three hours before bed."""

    first: date
    """On which it does."""
    by_day: bool = False
    """It has then begun before them."""


class Glide(NamedTuple):
    """A part is still on its way from the one before it when the three hours before bed begin, and longer than a
    moment.
    """

    day: date
    earlier: str
    part: str
    share: float
    """Of the way, 0…1, at that moment."""


class Year:
    """A building's year from a date on."""

    def __init__(self, building: Building, first: date) -> None:
        self.building = building
        self.zone = ZoneInfo(building.site.timezone)
        self.days = following(first, DAYS)
        self.almanac = Almanac(building)
        calendar = Calendar(building)
        around = following(first + timedelta(DATES.start), DAYS - DATES.start + DATES.stop)
        self._on = {day: dict(calendar.starts(day)) for day in around}
        place = {name: place for place, name in enumerate(building.parts)}
        found = (Start(part, at) for starts in self._on.values() for part, at in starts.items())
        self._starts = sorted(found, key=lambda start: (start.at, place[start.part]))
        self._rows: dict[tuple[str, ...], tuple[Stretch, ...]] = {}
        self._dawns: dict[date, int] = {}
        self._evenings: dict[tuple[str, ...], dict[str, Evening]] = {}

    def starts(self, day: date) -> dict[str, int]:
        """The parts that belong to a date of the year, or a week around it, and when they start (µs UTC)."""
        return self._on[day]

    def midnight(self, day: date) -> int:
        """When the date begins, µs UTC."""
        return civil.moment(self.zone, day, 0)

    def first_light(self, day: date) -> int:
        """Dawn of the date, µs UTC, or where there is none the end of time."""
        if day not in self._dawns:
            found = sun.event(self.building.site, "dawn", day, civil.noon_offset(self.zone, day))
            self._dawns[day] = sys.maxsize if isinstance(found, str) else found
        return self._dawns[day]

    def row(self, parts: tuple[str, ...]) -> tuple[Stretch, ...]:
        """What holds of `parts` in the year, the first and the last in full length; gaps are left out."""
        if parts not in self._rows:
            first, last = self.midnight(self.days[0]), self.midnight(self.days[-1] + timedelta(1))
            found = stretches(self._starts, parts)
            self._rows[parts] = tuple(each for each in found if each.ends > first and each.began < last)
        return self._rows[parts]

    def begins(self, day: date) -> tuple[Start, ...]:
        """What starts between that date's midnights, and first what then holds already, with its own start."""
        midnight, end = self.midnight(day), self.midnight(day + timedelta(1))
        past = [start for start in self._starts if midnight - LOOK_BACK_US < start.at <= midnight]
        return (*past[-1:], *(start for start in self._starts if midnight < start.at < end))

    def week(self, room: Room) -> dict[tuple[date, ...], tuple[Stretch, ...]]:
        """The first seven days of the room and the next holiday, from midnight to midnight; those on which clocks show
        the same to the minute stand together, with the first one's stretches.
        """
        alike: dict[tuple[tuple[str | None, str], ...], tuple[list[date], tuple[Stretch, ...]]] = {}
        holiday = () if self.next_holiday is None else (self.next_holiday,)
        for day in dict.fromkeys((*self.days[:WEEK], *holiday)):
            found = tuple(between(self.row(room.parts), self.midnight(day), self.midnight(day + timedelta(1))))
            key = tuple((part, f"{civil.local(self.zone, began):%H:%M}") for part, began, _ in found)
            alike.setdefault(key, ([], found))[0].append(day)
        return {tuple(days): found for days, found in alike.values()}

    def evenings(self, room: Room) -> dict[str, Evening]:
        """The room's parts that hold at some time in the three hours before bed."""
        if room.parts not in self._evenings:
            self._evenings[room.parts] = self._before_bed(self.row(room.parts))
        return self._evenings[room.parts]

    def glides(self, room: Room) -> Iterator[Glide]:
        """What the room is on the way from when the three hours before bed begin, one blend deep, day by day."""
        row = self.row(room.parts)
        for day in self.days:
            bed = self._bed(day)
            running = 0 if bed is None else _running(row, bed - eye.EVENING_US)
            if bed is None or not 0 < running < len(row):
                continue
            before, (part, began, _) = row[running - 1 : running + 1]
            since = bed - eye.EVENING_US - began
            blend = 0 if part is None else self.building.parts[part].blend_ms * 1_000
            lasts = 0 <= since < blend - MOMENT_US
            if part is not None and before.part is not None and before.ends == began and lasts:
                yield Glide(day, before.part, part, since / blend)

    def _before_bed(self, row: tuple[Stretch, ...]) -> dict[str, Evening]:
        found: dict[str, Evening] = {}
        for day in self.days:
            bed = self._bed(day)
            if bed is None:
                continue
            running = _running(row, bed - eye.EVENING_US)
            for part, began, _ in takewhile(partial(_begins_before, bed), islice(row, running, None)):
                if part is not None:
                    known = found.get(part, Evening(day))
                    found[part] = Evening(known.first, known.by_day or began < bed - eye.EVENING_US)
        return found

    def _bed(self, day: date) -> int | None:
        """When people go to bed, µs UTC."""
        return None if self.building.site.bed is None else self._on[day].get(self.building.site.bed)

    @cached_property
    def next_holiday(self) -> date | None:
        return next((day for day in self.days if self.almanac.is_holiday(day)), None)


def _running(row: tuple[Stretch, ...], instant: int) -> int:
    """The place in the row of what holds at the instant, or begins next."""
    return bisect_right(row, instant, key=attrgetter("ends"))


def _begins_before(instant: int, stretch: Stretch) -> bool:
    return stretch.began < instant


def following(first: date, count: int) -> tuple[date, ...]:
    """So many dates, the first included."""
    return tuple(first + timedelta(step) for step in range(count))
