"""What can still be checked of a config in which something is wrong: every mistake is to be told at once.

What is broken is left out, and what it declared stays known by name, so that one mistake is not told a second time as
another.
"""

from collections.abc import Iterable, Mapping
from copy import deepcopy
from typing import Any

import msgspec

from leerie.config.models import Config
from leerie.config.problems import Path, nearest
from leerie.config.sources import NAMED_SECTIONS

_STAND_IN = {"latitude": 0.0, "longitude": 0.0, "timezone": "UTC"}
_BEARING = ("sensors", "keep", "fixtures", "scenes")
"""A room without these is another room: checks of what remains would tell of mistakes that are none."""


class Declared(msgspec.Struct, frozen=True):
    """Names as the config gives them, whether or not what bears them is sound."""

    day_parts: tuple[str, ...]
    sensors: tuple[str, ...]
    fixtures: tuple[str, ...]
    homes: Mapping[str, tuple[str, ...]] | None
    """Lamp → the rooms that claim it; None if some room's claim cannot be read."""


def declared(data: Mapping[str, Any]) -> Declared:
    names = {section: _names(data, section) for section in NAMED_SECTIONS}
    return Declared(names["day_parts"], names["sensors"], names["fixtures"], _homes(data.get("rooms", {})))


def sound(data: Mapping[str, Any], broken: Iterable[Path]) -> dict[str, Any]:
    """The data without what is broken."""
    rest = deepcopy(dict(data))
    for section, *inner in broken:
        table = rest.get(str(section))
        if section == "site":
            whole = table if inner and isinstance(table, dict) else {}
            rest["site"] = _STAND_IN | {key: value for key, value in whole.items() if key != inner[0]}
        elif section not in NAMED_SECTIONS or not inner or not isinstance(table, dict):
            rest.pop(str(section), None)
        elif section != "rooms" or not _mended(table.get(inner[0]), inner[1:]):
            table.pop(inner[0], None)
    return rest


def _mended(room: Any, broken: list[str | int]) -> bool:
    """Whether the room is sound again, and still the same room to whoever checks the rest of it."""
    if not isinstance(room, dict):
        return False
    match broken:
        case ["scenes", part, lamp, *_]:
            room["scenes"][part][lamp] = 1.0
        case ["area", *_]:
            room["area"] = 1.0
        case ["during", part, *_] if isinstance(room["during"], dict):
            room["during"].pop(part, None)
        case [key, *_] if key not in _BEARING:
            room.pop(key, None)
        case _:
            return False
    return True


def _names(data: Mapping[str, Any], section: str) -> tuple[str, ...]:
    """The names in a table, and in one whose own name is a misspelt form of the table's."""
    tables = [data[key] for key in data if key == section or nearest(key, Config.model_fields) == section]
    return tuple(name for table in tables if isinstance(table, dict) for name in table)


def _homes(rooms: object) -> Mapping[str, tuple[str, ...]] | None:
    homes: dict[str, tuple[str, ...]] = {}
    if not isinstance(rooms, dict):
        return None
    for name, room in rooms.items():
        lamps = room.get("fixtures", []) if isinstance(room, dict) else None
        if not isinstance(lamps, list) or not all(isinstance(lamp, str) for lamp in lamps):
            return None
        for lamp in dict.fromkeys(lamps):
            homes[lamp] = (*homes.get(lamp, ()), name)
    return homes
