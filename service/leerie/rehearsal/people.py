"""How people's days go: who is where and when, and what they wish of the light there.

A day is drawn from a seed of its own, made of the household's seed, the person and the date. So any stretch of time
can be asked for by itself and comes out the same as when it was a part of a longer one.
"""

import random
from collections.abc import Iterator
from datetime import date, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import msgspec
from msgspec.structs import replace

from leerie.config.building import Building
from leerie.daylight import civil
from leerie.rehearsal.household import STREET, Habit, Household, Person, Wish, wandering

SECOND_US = civil.SECOND_US
SHORTEST_STAY_US = 60 * SECOND_US
SHORTEST_ABSENCE_US = 900 * SECOND_US
"""Nobody leaves the house for less."""
WALK_S = (14, 35)
"""How long it takes to pass through stairs or a hall."""
TO_THE_DOOR_US = 20 * SECOND_US
"""How long who rings waits for the host."""


class Stay(msgspec.Struct, frozen=True):
    """A person is in a room, from start to end (microseconds UTC)."""

    start: int
    end: int
    person: str
    room: str
    stirs: int
    came_from: str | None = None
    """The room before, or None: from out of the house."""
    goes_to: str | None = None


class Wished(msgspec.Struct, frozen=True):
    """Somebody wants something of a room's light, now (microseconds UTC)."""

    at: int
    person: str
    wish: Wish


def stays(building: Building, people: Household, seed: int, start: int, end: int) -> tuple[Stay, ...]:
    """Where everybody is between two instants (microseconds UTC), in order of time; nobody is in two rooms at once."""
    zone, dates = _dates(building, start, end)
    wanted: dict[str, list[Stay]] = {}
    for person in people.people:
        uses = [use for day in dates for use in _day(building, person, seed, day, zone)]
        wanted[person.name] = [Stay(begins, ends, person.name, habit.room, habit.stirs) for habit, begins, ends in uses]
    for person in people.people:
        if person.host in wanted:
            wanted[person.host] += [_received(guest, person.host) for guest in wanted[person.name]]
    found = [stay for wished in wanted.values() for stay in _walked(_one_at_a_time(wished), people, seed)]
    return tuple(sorted((s for s in found if s.start < end and s.end > start), key=lambda s: (s.start, s.person)))


def wishes(building: Building, people: Household, seed: int, start: int, end: int) -> tuple[Wished, ...]:
    """What everybody wishes between two instants (microseconds UTC), in order of time."""
    zone, dates = _dates(building, start, end)
    found = [
        Wished((begins if wish.since == "start" else ends) + wish.at * SECOND_US, person.name, wish)
        for person in people.people
        for day in dates
        for habit, begins, ends in _day(building, person, seed, day, zone)
        for number, wish in enumerate(habit.wishes)
        if _rng(seed, person.name, day, habit.room, habit.at, number).random() < wish.chance
    ]
    return tuple(sorted((w for w in found if start <= w.at < end), key=lambda w: (w.at, w.person, w.wish.says)))


def _dates(building: Building, start: int, end: int) -> tuple[ZoneInfo, list[date]]:
    """The local dates whose habits may reach into that stretch."""
    zone = ZoneInfo(building.site.timezone)
    first = civil.local(zone, start).date() - timedelta(days=2)
    last = civil.local(zone, end).date() + timedelta(days=1)
    return zone, [first + timedelta(days=number) for number in range((last - first).days + 1)]


def _rng(*key: object) -> random.Random:
    return random.Random("/".join(map(str, key)))  # noqa: S311 -- invented habits, no secrets


def _day(building: Building, person: Person, seed: int, day: date, zone: ZoneInfo) -> list[tuple[Habit, int, int]]:
    """What that person means to do that day: each habit with its beginning and end (microseconds UTC)."""
    rng = _rng(seed, person.name, day)
    work = day.weekday() in building.site.workweek
    habits = person.habits or tuple(wandering(building, rng))
    return [
        (habit, *_times(habit, day, zone, rng))
        for habit in habits
        if rng.random() < habit.chance and habit.days in ("any", "work" if work else "free")
    ]


def _times(habit: Habit, day: date, zone: ZoneInfo, rng: random.Random) -> tuple[int, int]:
    usual = time.fromisoformat(habit.at)
    start = (
        civil.moment(zone, day, usual.hour * 3600 + usual.minute * 60)
        + round(rng.gauss(0, habit.late * 60)) * SECOND_US
    )
    give = min(habit.lasts / 3, 15)
    return start, start + round((habit.lasts + rng.uniform(-give, give)) * 60) * SECOND_US


def _received(guest: Stay, host: str) -> Stay:
    return replace(guest, start=guest.start + TO_THE_DOOR_US, person=host)


def _one_at_a_time(wished: list[Stay]) -> list[Stay]:
    """Who is wanted in two rooms goes where the later wish is, and comes back when it is over."""
    moments = sorted({moment for stay in wished for moment in (stay.start, stay.end)})
    pieces: list[Stay] = []
    for start, end in pairwise(moments):
        wanted = [stay for stay in wished if stay.start <= start and stay.end >= end]
        brief = end - start < (SHORTEST_STAY_US if wanted else SHORTEST_ABSENCE_US)
        if pieces and pieces[-1].end == start and brief:
            stay = pieces[-1]
        elif wanted:
            stay = max(wanted, key=lambda stay: (stay.start, stay.room))
        else:
            continue
        if pieces and pieces[-1].end == start and pieces[-1].room == stay.room:
            pieces[-1] = replace(pieces[-1], end=end)
        else:
            pieces.append(replace(stay, start=start, end=end))
    return pieces


def _walked(pieces: list[Stay], people: Household, seed: int) -> list[Stay]:
    """The same stays with the ways between them, and each with the rooms that it lies between."""
    ways = list(_with_ways(pieces, people, seed))
    return [
        replace(
            stay,
            came_from=before.room if before is not None and before.end == stay.start else None,
            goes_to=after.room if after is not None and after.start == stay.end else None,
        )
        for before, stay, after in zip([None, *ways], ways, [*ways[1:], None], strict=False)
    ]


def _with_ways(pieces: list[Stay], people: Household, seed: int) -> Iterator[Stay]:
    """On changing storey one passes through stairs, and is late by that."""
    for before, stay, after in zip([None, *pieces], pieces, [*pieces[1:], None], strict=False):
        here = people.storey[stay.room]
        came_from = people.storey[before.room] if before is not None and before.end == stay.start else STREET
        way_in = list(_way(stay.person, people, seed, stay.start)) if came_from != here else []
        yield from way_in
        arrives = way_in[-1].end if way_in else stay.start
        yield replace(stay, start=arrives, end=max(arrives + SECOND_US, stay.end))
        if here != STREET and (after is None or after.start > stay.end):
            yield from _way(stay.person, people, seed, stay.end)


def _way(person: str, people: Household, seed: int, start: int) -> Iterator[Stay]:
    rng = _rng(seed, person, start)
    for passage in people.passages:
        end = start + rng.randrange(*WALK_S) * SECOND_US
        yield Stay(start, end, person, passage, 8)
        start = end
