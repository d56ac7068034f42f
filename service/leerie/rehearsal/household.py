"""Who uses the building: invented people, their habits, and what they wish of the light on the way.

The workshop's own household is written out. Any other building gets wanderers, who go from room to room.
"""

import random
from collections.abc import Iterator, Mapping
from typing import Literal, TypeAlias

import msgspec
from msgspec.structs import replace

from leerie.config.building import Building

STREET = 0
"""The storey at street level."""
ROOMS_A_PERSON = 3
MOST_WANDERERS = 12
IDLE_WISHES = 0.15
"""Share of a wanderer's stays in which the light is not as wanted."""
By: TypeAlias = Literal["button", "hold", "ask", "bias"]
"""The button on the wall, or somebody's telephone, which speaks to the room's own topics."""


class Wish(msgspec.Struct, frozen=True):
    """What a person wants of a room's light."""

    room: str
    by: By
    says: str
    """What the button is to do, or the payload."""
    at: int
    """Seconds after the habit begins or ends; negative: before."""
    since: Literal["start", "end"] = "start"
    chance: float = 1.0


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
    wishes: tuple[Wish, ...] = ()


class Person(msgspec.Struct, frozen=True):
    name: str
    habits: tuple[Habit, ...]
    """Empty: wanders from room to room from morning till late."""
    host: str | None = None
    """Who comes to let them in and stays with them."""


class Household(msgspec.Struct, frozen=True):
    people: tuple[Person, ...]
    storey: Mapping[str, int]
    """Room → storey; the street is storey 0."""
    passages: tuple[str, ...]
    """Rooms one walks through from one storey to another."""
    entrance: str | None = None
    """The room whose door leads to the street; None: nobody knows."""


# ---- the violin workshop ---------------------------------------------------------------------------------------------


def _out_of_bed(room: str, at: str, lasts: int, chance: float) -> Habit:
    """Up at night: a little light first, and dark again for whoever sleeps on."""
    light = Wish("bedroom", "button", "ask light", -10)
    dark = Wish("bedroom", "button", "ask dark", 75, "end")
    return Habit(room, at, lasts, chance=chance, late=50, stirs=20, wishes=(light, dark))


def _toggles(room: str, *at: int) -> tuple[Wish, ...]:
    return tuple(Wish(room, "button", "hold toggle", moment) for moment in at)


WAKES = (Wish("bedroom", "button", "ask light", -20),)
JUDGES_AN_ARCHING = _toggles("workshop", 4_200, 6_300)
"""By a hand lamp held low; the room's own light stays as it is meanwhile."""
BENDS_RIBS = (*_toggles("workshop", 1_800), Wish("workshop", "button", "ask light", 3_900))
LOOKS_FOR_OLD_VARNISH = (Wish("varnish_room", "hold", "start", 240, chance=0.8),)
"""Under a lamp of its own."""
WORKS_LATE = (
    Wish("workshop", "ask", "light", -60),
    Wish("workshop", "button", "ask dark", -8, "end", chance=0.8),
)
WAKES_SLOWLY = (Wish("kitchen", "bias", '{"bias": -0.2, "for": "vacant"}', 300, chance=0.7),)
SEES_A_FILM = (
    Wish("kitchen", "hold", '{"hold": true, "level": 0.2, "kelvin": 2200, "for": "day_part"}', 2_700, chance=0.8),
    Wish("kitchen", "ask", "dark", 20, "end", chance=0.7),
)
READS = _toggles("bedroom", 240)
GOES_TO_SLEEP = (Wish("bedroom", "button", "ask dark", 1_200, chance=0.8),)
WANTS_IT_BRIGHTER = (Wish("workshop", "button", "raise", 1_500, chance=0.6),)
PHOTOGRAPHS_A_VIOLIN = (
    Wish("shop", "hold", '{"hold": true, "level": 1, "kelvin": 4500, "for": "40m"}', 180, chance=0.9),
)
CARRIES_BOARDS = (
    Wish("stairs", "hold", '{"hold": true, "level": 1, "for": "ever"}', -20),
    Wish("stairs", "hold", "end", 40, "end"),
)
"""Wood is seasoned under the stairs."""

MAKER = Person(
    "maker",
    (
        Habit("bathroom", "06:25", 14, "work", wishes=WAKES),
        Habit("kitchen", "06:45", 40, "work"),
        Habit("bedroom", "06:30", 100, "free", stirs=900),
        Habit("bathroom", "08:20", 20, "free", late=15),
        Habit("kitchen", "08:50", 60, "free", late=20),
        Habit("workshop", "08:00", 245, "work", stirs=150, wishes=JUDGES_AN_ARCHING),
        Habit("stairs", "09:00", 3, "work", late=6, stirs=15),
        Habit("varnish_room", "10:25", 35, "work", late=10, stirs=60, wishes=LOOKS_FOR_OLD_VARNISH),
        Habit("kitchen", "12:15", 45, "work"),
        Habit("workshop", "13:10", 240, "work", stirs=150, wishes=BENDS_RIBS),
        Habit("varnish_room", "15:00", 50, "work", chance=0.8, late=20, stirs=60),
        Habit("shop", "16:40", 55, "work", late=10, stirs=240),  # the ledger
        Habit("workshop", "10:40", 120, "free", chance=0.7, late=40, stirs=150),
        Habit("stairs", "11:20", 3, "free", chance=0.5, late=20, stirs=15),
        Habit("kitchen", "14:30", 50, "free", late=30, stirs=60),
        Habit("kitchen", "18:20", 225, late=15, stirs=120),
        Habit("workshop", "20:15", 60, chance=0.5, late=15, stirs=200, wishes=WORKS_LATE),
        Habit("bathroom", "22:00", 28, late=6, stirs=500),  # the bath
        Habit("bedroom", "22:35", 500, late=10, stirs=1500),
        _out_of_bed("varnish_room", "03:30", 8, chance=0.4),  # is it dry?
    ),
)
PARTNER = Person(
    "partner",
    (
        Habit("bathroom", "06:55", 18, "work", late=6),
        Habit("kitchen", "07:20", 30, "work", late=5, wishes=WAKES_SLOWLY),
        Habit("bedroom", "06:30", 130, "free", stirs=900),
        Habit("bathroom", "08:45", 18, "free", late=10),
        Habit("kitchen", "09:15", 60, "free", late=20),
        Habit("kitchen", "18:00", 50, late=12, stirs=12),  # cooks
        Habit("kitchen", "18:55", 215, late=10, stirs=90, wishes=SEES_A_FILM),
        Habit("bedroom", "20:50", 35, chance=0.8, late=10, stirs=200, wishes=READS),
        Habit("bathroom", "22:35", 12, late=6),
        Habit("bedroom", "22:50", 500, late=8, stirs=1500, wishes=GOES_TO_SLEEP),
        _out_of_bed("bathroom", "02:20", 4, chance=0.7),
        _out_of_bed("kitchen", "04:30", 5, chance=0.3),
    ),
)
APPRENTICE = Person(
    "apprentice",
    (
        Habit("shop", "08:20", 6, "work", late=4),
        Habit("workshop", "08:27", 228, "work", late=3, stirs=60, wishes=WANTS_IT_BRIGHTER),
        Habit("shop", "10:10", 20, "work", chance=0.8, late=15),
        Habit("workshop", "12:55", 245, "work", late=5, stirs=60),
        Habit("shop", "13:15", 45, "work", late=6, wishes=PHOTOGRAPHS_A_VIOLIN),
        Habit("stairs", "14:35", 4, "work", late=4, stirs=12, wishes=CARRIES_BOARDS),
    ),
)
CUSTOMER = Person(
    "customer",
    (
        Habit("shop", "09:40", 9, "work", chance=0.6, late=15, stirs=15),
        Habit("shop", "11:10", 14, "work", chance=0.8, late=15, stirs=15),
        Habit("shop", "15:05", 11, "work", chance=0.8, late=8, stirs=15),
        Habit("shop", "16:15", 16, "work", chance=0.7, late=8, stirs=15),
    ),
    host="apprentice",
)


# ---- any building ----------------------------------------------------------------------------------------------------


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
        return Household(tuple(person for person in known if person.habits), storey, passages, "shop")
    count = min(MOST_WANDERERS, len(names) // ROOMS_A_PERSON + 1)
    return Household(tuple(Person(f"visitor {number}", ()) for number in range(1, count + 1)), storey, passages)


def _at_home(person: Person, building: Building) -> Person:
    habits = (
        replace(habit, wishes=tuple(wish for wish in habit.wishes if wish.room in building.rooms))
        for habit in person.habits
        if habit.room in building.rooms
    )
    return replace(person, habits=tuple(habits))


def wandering(building: Building, rng: random.Random) -> Iterator[Habit]:
    """A day of somebody without habits."""
    rooms = [room.name for room in building.rooms.values() if not room.egress] or list(building.rooms)
    minute = 7 * 60 + rng.randrange(90)
    while minute < 22 * 60 + 30:
        lasts = min(120, round(rng.lognormvariate(3.0, 0.8)) + 2)
        room = rng.choice(rooms)
        yield Habit(
            room,
            f"{minute // 60:02}:{minute % 60:02}",
            lasts,
            late=0,
            stirs=rng.choice((20, 60, 240)),
            wishes=_idle(room, rng) if rng.random() < IDLE_WISHES else (),
        )
        minute += lasts + (rng.randrange(20, 180) if rng.random() < 0.3 else 0)


def _idle(room: str, rng: random.Random) -> tuple[Wish, ...]:
    held = (Wish(room, "button", "hold toggle", 30), Wish(room, "button", "hold toggle", -5, "end"))
    return rng.choice(
        (
            held,
            (Wish(room, "button", "ask light", 30),),
            (Wish(room, "button", "lower", 30),),
            (Wish(room, "hold", '{"hold": true, "for": "vacant"}', 30),),
            (Wish(room, "bias", '{"bias": 0.2, "for": "vacant"}', 30),),
        )
    )
