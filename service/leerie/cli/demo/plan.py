"""Where each room lies when the house is cut open: storeys, stairs through all of them, what is before the door."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from leerie.cli.demo.canvas import Box
from leerie.config.building import Building
from leerie.rehearsal.household import household

NARROWEST, WIDEST = 19, 46
"""Columns of a room between its walls."""
FLATTEST, HIGHEST = 7, 12
"""Lines of a room between floor and ceiling."""
OUTSIDE = 17
"""Columns of what lies before the door."""
MARGIN = 2
"""Columns of sky on either side."""
SKY, ROOF, STREET = 4, 2, 1
"""Lines; of sky at least so many."""


class Storeys(NamedTuple):
    """A building's rooms by where they are."""

    levels: tuple[tuple[str, ...], ...]
    """From the top down; none of them empty."""
    stairs: tuple[str, ...]
    """Through all levels."""
    outside: tuple[str, ...]
    """Before the door, at street level."""


class Plan(NamedTuple):
    house: Box
    """From its outer walls and its ceiling to the floor; the roof lies above it and the street below."""
    rooms: dict[str, Box]
    """Without their walls."""
    outside: tuple[str, ...]
    stairs: tuple[str, ...]


def storeys(building: Building) -> Storeys:
    """Rooms without sensors, lit by the day alone, are taken to lie outside, unless all are like that."""
    people = household(building)
    stairs = [name for name in people.passages if len(people.passages) < len(building.rooms)]
    rooms = [room for name, room in building.rooms.items() if name not in stairs]
    outside = [room.name for room in rooms if not room.sensors] if any(room.sensors for room in rooms) else []
    inside = [room.name for room in rooms if room.name not in outside]
    levels = (tuple(name for name in inside if people.storey[name] == level) for level in (1, 0))
    return Storeys(tuple(level for level in levels if level), tuple(stairs), tuple(outside))


def fit(rooms: Storeys, width: int, height: int) -> Plan | None:
    """The house on so many columns and lines, sky, roof and street included; None: there is no room for it."""
    outdoors = len(rooms.outside) * (OUTSIDE + 1)
    most = max(map(len, rooms.levels))
    columns = most + len(rooms.stairs)
    each = min(WIDEST, (width - 2 * MARGIN - outdoors - 1) // columns - 1)
    lines = min(HIGHEST, (height - SKY - ROOF - STREET - 1) // len(rooms.levels) - 1)
    if each < NARROWEST or lines < FLATTEST:
        return None
    return _built(rooms, width, height, each, lines)


def _built(rooms: Storeys, width: int, height: int, each: int, lines: int) -> Plan:
    most = max(map(len, rooms.levels))
    spare = width - 2 * MARGIN - len(rooms.outside) * (OUTSIDE + 1) - 1 - (most + len(rooms.stairs)) * (each + 1)
    inner = most * (each + 1) - 1 + (0 if each == WIDEST else spare)
    across = inner + 2 + len(rooms.stairs) * (each + 1)
    tall = len(rooms.levels) * (lines + 1) + 1
    left = (width - across - len(rooms.outside) * (OUTSIDE + 1)) // 2
    house = Box(left, height - STREET - tall, across, tall)
    placed: dict[str, Box] = {}
    for number, level in enumerate(rooms.levels):
        top = house.top + 1 + number * (lines + 1)
        placed |= dict(zip(level, _beside(left + 1, top, inner, lines, level), strict=True))
    for number, name in enumerate(rooms.stairs):
        placed[name] = Box(left + 1 + inner + 1 + number * (each + 1), house.top + 1, each, tall - 2)
    for number, name in enumerate(rooms.outside):
        placed[name] = Box(house.right + number * (OUTSIDE + 1), house.bottom - 1 - lines, OUTSIDE, lines)
    return Plan(house, placed, rooms.outside, rooms.stairs)


def _beside(left: int, top: int, width: int, height: int, rooms: Sequence[str]) -> list[Box]:
    """So many boxes side by side with a wall between them, as alike as whole columns allow."""
    edges = [left + (width + 1) * place // len(rooms) for place in range(len(rooms) + 1)]
    return [Box(edge, top, after - 1 - edge, height) for edge, after in pairwise(edges)]
