"""Who uses the building and how their days go: invented people with habits.

A day is drawn from a seed of its own, made of the household's seed, the person and the date. So any stretch of time
can be asked for by itself and comes out the same as when it was a part of a longer one.
"""

import random
from collections.abc import Iterator, Mapping
from datetime import date, time, timedelta
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

import msgspec
from msgspec.structs import replace

from leerie.config.building import Building
from leerie.daylight import civil

SECOND_US = civil.SECOND_US
STREET = 0
SHORTEST_STAY_US = 60 * SECOND_US
SHORTEST_ABSENCE_US = 900 * SECOND_US
"""Nobody leaves the house for less."""
WALK_S = (14, 35)
"""How long it takes to pass through stairs or a hall."""


class Habit(msgspec.Struct, frozen=True):
    """Something a person does in a room most days."""

    room: str
    at: str
    """Local time at which it usually begins, HH:MM."""
    lasts: int
    """Minutes, give or take a third, and no more than a quarter of an hour."""
    days: Literal["any", "work", "free"] = "any"
    chance: float = 1.0
    late: int = 8
    """By so many minutes the beginning varies (standard deviation)."""
    stirs: int = 40
    """Mean seconds between two movements that a motion sensor would see."""


class Person(msgspec.Struct, frozen=True):
    name: str
    habits: tuple[Habit, ...]
    """Empty: wanders from room to room from morning till late."""


class Household(msgspec.Struct, frozen=True):
    people: tuple[Person, ...]
    storey: Mapping[str, int]
    """Room → storey; the street is storey 0."""
    passages: tuple[str, ...]
    """Rooms one walks through from one storey to another."""


class Stay(msgspec.Struct, frozen=True):
    """A person is in a room, from start to end (microseconds UTC)."""

    start: int
    end: int
    person: str
    room: str
    stirs: int


MAKER = Person(
    "maker",
    (
        Habit("bathroom", "06:25", 14),
        Habit("kitchen", "06:45", 40),
        Habit("workshop", "08:00", 245, "work", stirs=150),
        Habit("varnish_room", "10:10", 35, "work", chance=0.8, late=25, stirs=60),
        Habit("kitchen", "12:15", 45, "work"),
        Habit("workshop", "13:10", 240, "work", stirs=150),
        Habit("varnish_room", "15:00", 50, "work", late=30, stirs=60),
        Habit("shop", "16:40", 30, "work", chance=0.7, late=10),
        Habit("workshop", "10:30", 130, "free", chance=0.6, late=40, stirs=150),
        Habit("kitchen", "14:30", 50, "free", late=30, stirs=120),
        Habit("kitchen", "18:20", 230, late=15, stirs=120),
        Habit("workshop", "20:15", 60, chance=0.5, late=15, stirs=200),
        Habit("bathroom", "22:10", 16, late=6),
        Habit("bedroom", "22:35", 500, late=10, stirs=1500),
    ),
)
PARTNER = Person(
    "partner",
    (
        Habit("bathroom", "06:55", 18, late=6),
        Habit("kitchen", "07:20", 30, "work", late=5),
        Habit("kitchen", "08:50", 60, "free", late=25),
        Habit("kitchen", "18:00", 275, late=20, stirs=90),
        Habit("bedroom", "20:50", 35, chance=0.7, late=15, stirs=300),
        Habit("bathroom", "22:35", 12, late=6),
        Habit("bedroom", "22:50", 500, late=10, stirs=1500),
        Habit("bathroom", "02:40", 4, chance=0.6, late=50),
    ),
)
APPRENTICE = Person(
    "apprentice",
    (
        Habit("workshop", "08:25", 230, "work", late=5, stirs=60),
        Habit("shop", "10:00", 25, "work", chance=0.8, late=20),
        Habit("workshop", "12:55", 245, "work", late=5, stirs=60),
        Habit("shop", "14:20", 30, "work", chance=0.8, late=20),
    ),
)
CUSTOMER = Person(
    "customer",
    (
        Habit("shop", "09:50", 9, "work", chance=0.6, late=20, stirs=15),
        Habit("shop", "11:20", 14, "work", chance=0.7, late=25, stirs=15),
        Habit("shop", "14:10", 11, "work", chance=0.7, late=25, stirs=15),
        Habit("shop", "16:30", 16, "work", chance=0.7, late=25, stirs=15),
    ),
)


def household(building: Building) -> Household:
    """The people of that building: the demo's own where it has a workshop, else wanderers, one for each three rooms.

    Rooms that stand in the file before the first escape route are at street level, those after it up the stairs.
    """
    passages = tuple(room.name for room in building.rooms.values() if room.egress)
    names = list(building.rooms)
    first = names.index(passages[0]) if passages else len(names)
    storey = {name: int(place > first) for place, name in enumerate(names)}
    known = [_at_home(person, building) for person in (MAKER, PARTNER, APPRENTICE, CUSTOMER)]
    if any(habit.room == "workshop" for person in known for habit in person.habits):
        people = [person for person in known if person.habits]
    else:
        people = [Person(f"visitor {number}", ()) for number in range(1, min(12, len(names) // 3 + 1) + 1)]
    return Household(tuple(people), storey, passages)


def _at_home(person: Person, building: Building) -> Person:
    return Person(person.name, tuple(habit for habit in person.habits if habit.room in building.rooms))


def stays(building: Building, people: Household, seed: int, start: int, end: int) -> tuple[Stay, ...]:
    """Where everybody is between two instants (microseconds UTC), in order of time; nobody is in two rooms at once."""
    zone = ZoneInfo(building.site.timezone)
    first = civil.local(zone, start).date() - timedelta(days=2)
    last = civil.local(zone, end).date() + timedelta(days=1)
    dates = [first + timedelta(days=number) for number in range((last - first).days + 1)]
    found: list[Stay] = []
    for person in people.people:
        wished = [stay for day in dates for stay in _day(building, person, seed, day, zone)]
        found += _walked(_one_at_a_time(wished), people, seed)
    return tuple(sorted((s for s in found if s.start < end and s.end > start), key=lambda s: (s.start, s.person)))


def _day(building: Building, person: Person, seed: int, day: date, zone: ZoneInfo) -> list[Stay]:
    rng = random.Random(f"{seed}/{person.name}/{day}")  # noqa: S311 -- invented habits, no secrets
    work = day.weekday() in building.site.workweek
    habits = person.habits or tuple(_wandering(building, rng))
    return [
        _stay(person.name, habit, day, zone, rng)
        for habit in habits
        if rng.random() < habit.chance and habit.days in ("any", "work" if work else "free")
    ]


def _wandering(building: Building, rng: random.Random) -> Iterator[Habit]:
    rooms = [room.name for room in building.rooms.values() if not room.egress] or list(building.rooms)
    minute = 7 * 60 + rng.randrange(90)
    while minute < 22 * 60 + 30:
        lasts = min(120, round(rng.lognormvariate(3.0, 0.8)) + 2)
        yield Habit(
            rng.choice(rooms), f"{minute // 60:02}:{minute % 60:02}", lasts, late=0, stirs=rng.choice((20, 60, 240))
        )
        minute += lasts + (rng.randrange(20, 180) if rng.random() < 0.3 else 0)


def _stay(person: str, habit: Habit, day: date, zone: ZoneInfo, rng: random.Random) -> Stay:
    usual = time.fromisoformat(habit.at)
    start = (
        civil.moment(zone, day, usual.hour * 3600 + usual.minute * 60)
        + round(rng.gauss(0, habit.late * 60)) * SECOND_US
    )
    give = min(habit.lasts / 3, 15)
    lasts = round((habit.lasts + rng.uniform(-give, give)) * 60)
    return Stay(start, start + lasts * SECOND_US, person, habit.room, habit.stirs)


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


def _walked(pieces: list[Stay], people: Household, seed: int) -> Iterator[Stay]:
    """The same stays with the ways between them: on changing storey one passes through stairs, and is late by that."""
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
    rng = random.Random(f"{seed}/{person}/{start}")  # noqa: S311 -- as above
    for passage in people.passages:
        end = start + rng.randrange(*WALK_S) * SECOND_US
        yield Stay(start, end, person, passage, 8)
        start = end
