"""Reading the config anew while leerie runs: all of it or nothing."""

from collections.abc import Callable, Iterator
from typing import TypeAlias

import msgspec

from leerie.config import ConfigError
from leerie.config.building import Building

Read: TypeAlias = Callable[[], Building]
"""Reads the config as it stands now. Raises ConfigError."""

FIXED = ("state_dir", "journal", "metrics", "log")
"""Keys of `service` that hold for as long as leerie runs."""


class ReloadError(Exception):
    """The new config does not hold; the text says why, one problem a line."""


class Difference(msgspec.Struct, frozen=True):
    """What another config changes."""

    new: tuple[str, ...]
    gone: tuple[str, ...]
    changed: tuple[str, ...]
    """Rooms of the same name that are not, or whose lamps or sensors are not, as they were."""


def read_anew(read: Read, running: Building) -> Building:
    """The config as it stands now. Raises ReloadError, also where what cannot change has changed."""
    try:
        building = read()
    except ConfigError as wrong:
        raise ReloadError(str(wrong)) from wrong
    fixed = [f"{key}: cannot change while leerie runs; restart it" for key in _fixed(running, building)]
    if fixed:
        raise ReloadError("\n".join(fixed))
    return building


def difference(before: Building, after: Building) -> Difference:
    return Difference(
        tuple(name for name in after.rooms if name not in before.rooms),
        tuple(name for name in before.rooms if name not in after.rooms),
        tuple(name for name in after.rooms if name in before.rooms and _room(before, name) != _room(after, name)),
    )


def heard_anew(before: Building, after: Building) -> Iterator[str]:
    """Topics that a room has not listened to before, though another may have: what the broker kept there is news."""
    for room in after.rooms.values():
        old = before.rooms.get(room.name)
        for name in room.sensors:
            sensor = after.sensors[name]
            if old is None or name not in old.sensors or before.sensors.get(name) != sensor:
                yield sensor.topic
                yield from (told.topic for told in (sensor.online, sensor.battery) if told is not None)
        if room.meter is not None and (old is None or old.meter != room.meter):
            yield room.meter.topic


def _fixed(before: Building, after: Building) -> Iterator[str]:
    for key in before.broker.__struct_fields__:
        if getattr(before.broker, key) != getattr(after.broker, key):
            yield f"broker.{key.removesuffix('_s')}"
    for key in FIXED:
        if getattr(before.service, key) != getattr(after.service, key):
            yield f"service.{key}"


def _room(building: Building, name: str) -> tuple[object, ...]:
    room = building.rooms[name]
    return (
        room,
        [building.fixtures[lamp] for lamp in room.fixtures],
        [building.sensors[sensor] for sensor in room.sensors],
        [building.parts[part] for part in room.parts],
    )
