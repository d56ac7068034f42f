"""What a reload leaves behind: rooms that are gone, and lamps that nobody would command any more."""

from collections.abc import Iterator, Mapping

import msgspec

from leerie import record as records
from leerie.config.building import Building, Fixture
from leerie.fixtures.lamp import Lamp
from leerie.messages import Publish

PARTING_EXPIRY_S = 60
"""A lamp that the broker cannot reach for longer is not told off any more: somebody else may have it by then."""


class Parting(msgspec.Struct, frozen=True):
    """What is to be cleared away."""

    rooms: tuple[str, ...]
    """Rooms whose retained topics and records are of no use any more."""
    commands: tuple[tuple[str, bytes], ...]
    """Topic and payload: off, once, to every lamp that is left to itself."""


class Partings:
    """The lamps that reloads have left behind. Each is told off once, as soon as there is a connection. If there was
    none it is mostly the broker that was away, and then nobody else has taken them over.
    """

    def __init__(self) -> None:
        self._owed: tuple[tuple[str, bytes], ...] = ()
        """Topic and payload, while there is no connection."""

    def part(self, old: Building, new: Building, memory: Mapping[str, bytes]) -> tuple[str, ...]:
        """A reload: returns the rooms that are gone. A lamp that the new building has again is left to it."""
        parting = part(old, new, memory)
        served = _served(new)
        owed = (*self._owed, *parting.commands)
        self._owed = tuple((topic, payload) for topic, payload in owed if topic not in served)
        return parting.rooms

    def say(self) -> tuple[Publish, ...]:
        """What is to be told now that there is a connection."""
        owed, self._owed = self._owed, ()
        return tuple(Publish(0, topic, payload, PARTING_EXPIRY_S) for topic, payload in owed)


def part(old: Building, new: Building, memory: Mapping[str, bytes]) -> Parting:
    """What the old building leaves; `memory`: its rooms' records as they are now.

    A lamp on an escape route is left as it is, since nobody has asked for the dark there; so is one in a hands-off
    hold, which somebody has taken over.
    """
    rooms = tuple(name for name in old.rooms if name not in new.rooms)
    return Parting(rooms, tuple(_off(_left(old, new, memory))))


def _left(old: Building, new: Building, memory: Mapping[str, bytes]) -> Iterator[Fixture]:
    served = _served(new)
    for room in old.rooms.values():
        if room.egress or _hands_off(memory.get(room.name)):
            continue
        for name in room.fixtures:
            if served.isdisjoint(_topics(old.fixtures[name])):
                yield old.fixtures[name]  # trial: a lamp left behind


def _off(lamps: Iterator[Fixture]) -> Iterator[tuple[str, bytes]]:
    for lamp in lamps:
        white = lamp.kelvin[0] if lamp.kelvin is not None else None
        yield from Lamp(lamp).messages(0.0, white, lamp.fade_down_ms)


def _served(building: Building) -> set[str]:
    return {topic for fixture in building.fixtures.values() for topic in _topics(fixture)}


def _topics(fixture: Fixture) -> tuple[str, ...]:
    return tuple(wire.topic for wire in (*fixture.messages, *(fixture.when_off or ())))


def _hands_off(memory: bytes | None) -> bool:
    record = records.decode(memory) if memory else None
    hold = None if record is None else record.occupancy.hold
    return hold is not None and hold.level is None
