"""The building as its sensors tell of it while invented people walk about in it, and what these wish of its light.

Everything is a function of the building, a seed and the time asked for; nothing is kept from one question to the next.
So any stretch can be asked for by itself, and asked for twice it is the same. Instants are microseconds UTC.
"""

import math
import random
from collections.abc import Iterable, Iterator

import msgspec

from leerie.config.building import Building, Feed, Room, Sensor
from leerie.daylight import sky, sun
from leerie.rehearsal.household import STREET, household
from leerie.rehearsal.people import SECOND_US, Stay, Wished, stays, wishes
from leerie.rehearsal.speech import battery_says, button_says, feed_says, online_says, sensor_says
from leerie.rehearsal.stirring import Stir, darkness, stirs

MINUTE_US = 60 * SECOND_US
HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
RADAR_HOLDS_US = 12 * SECOND_US
"""A presence sensor says absent so long after the last person has left."""
PULSE_S = (1.25, 1.0)
"""How long a motion sensor says motion: at least, and so much more on average (the home in the tests: 1.7 s to 2.6 s
in the middle of ten sensors).
"""
BLIND_US = 2_500_000
"""Afterwards it sees nothing for so long: data sheets of common pyroelectric modules, from memory."""
DOOR_OPEN_US = 4 * SECOND_US
FEED_EVERY_US = 10 * MINUTE_US


class Reading(msgspec.Struct, frozen=True):
    """A sensor speaks, or somebody's telephone."""

    at: int
    topic: str
    payload: bytes
    retain: bool = False
    """The broker is to keep it: it is a value and no event."""


class World:
    """People, weather and sensors of a building."""

    def __init__(self, building: Building, seed: int) -> None:
        self._building = building
        self._seed = seed
        self._people = household(building)
        self._stands = {name: _room_of(sensor, building) for name, sensor in building.sensors.items()}
        self._dark = {room.name: darkness(building, room) for room in building.rooms.values()}

    def stays(self, start: int, end: int) -> tuple[Stay, ...]:
        """Who is where, whole or in part, between two instants; in order of time."""
        return stays(self._building, self._people, self._seed, start, end)

    def cloud(self, at: int) -> float:
        """Cloud cover, 0…1: two slow waves, so that hours differ and days differ."""
        rng = self._rng("cloud")
        hours = at / HOUR_US
        waves = [(0.35, 9.3), (0.25, 2.7), (0.15, 61.0)]
        return min(1.0, max(0.0, 0.55 + sum(a * math.sin(math.tau * (hours / p + rng.random())) for a, p in waves)))

    def outdoor(self, at: int, cloud: float) -> float:
        """What a lux sensor on the roof reads under so much cloud, lx."""
        return sky.clear_sky(sun.position(self._building.site, at).elevation) * sky.cloud_factor(cloud)

    def standing(self, at: int) -> list[Reading]:
        """What the broker has kept from before that instant: what each sensor that says values said last."""
        before = [reading for reading in self.readings(at - DAY_US, at) if reading.retain]
        last = {reading.topic: reading for reading in before}
        return sorted(last.values(), key=lambda reading: reading.at)

    def readings(self, start: int, end: int) -> list[Reading]:
        """All that sensors and telephones say from one instant to before another, in order of time."""
        stays = self.stays(start - DAY_US, end)
        said = [reading for at in _grid(start, end, FEED_EVERY_US) for reading in self.weather(at)]
        for name, sensor in self._building.sensors.items():
            here = [stay for stay in stays if stay.room == self._stands[name]]
            if sensor.kind != "button":
                said += self._sensor(sensor, here, start, end)
            said += _health(sensor, start, end)
        for wished in wishes(self._building, self._people, self._seed, start, end):
            said += self._wished(wished, stays)
        return sorted((r for r in said if start <= r.at < end), key=lambda r: (r.at, r.topic, r.payload))

    def _rng(self, *key: object) -> random.Random:
        return random.Random("/".join(map(str, (self._seed, *key))))  # noqa: S311 -- an invented world, no secrets

    def weather(self, at: int, *, overcast: bool = False) -> Iterator[Reading]:
        """What the feeds say of the sky, or would say if it were overcast."""
        daylight = self._building.daylight
        cloud = 1.0 if overcast else self.cloud(at)
        if daylight.cloud is not None:
            yield _feed(daylight.cloud, cloud, at)
        if daylight.outdoor is not None:
            yield _feed(daylight.outdoor, self.outdoor(at, cloud), at)

    def _wished(self, wished: Wished, stays: Iterable[Stay]) -> Iterator[Reading]:
        """A press of the room's button by somebody who stands there, or a message from a telephone, from anywhere."""
        room, by, says, at = wished.wish.room, wished.wish.by, wished.wish.says, wished.at
        if by != "button":
            yield Reading(at, f"{self._building.broker.topics}/room/{room}/{by}", says.encode())
        elif any(stay.person == wished.person and stay.room == room and stay.start <= at < stay.end for stay in stays):
            for sensor in self._buttons(room):
                value = next((value for value, deed in sensor.does.items() if deed == says), None)
                if value is not None:
                    yield Reading(at, sensor.topic, button_says(sensor, value))

    def _buttons(self, room: str) -> list[Sensor]:
        there = [self._building.sensors[name] for name in self._building.rooms[room].sensors]
        return [sensor for sensor in there if sensor.kind == "button"]

    def _sensor(self, sensor: Sensor, here: list[Stay], start: int, end: int) -> Iterator[Reading]:
        spells = _merged(self._spells(sensor, here))
        present = sensor_says(sensor, present=True)
        absent = sensor_says(sensor, present=False) if sensor.clears_ms is None else None
        kept = sensor.kind != "motion"
        for begins, ends in spells:
            yield Reading(begins, sensor.topic, present, kept)
            if absent is not None:
                yield Reading(ends, sensor.topic, absent, kept)
        yield from _alive(sensor, spells, start, end)

    def _spells(self, sensor: Sensor, here: list[Stay]) -> Iterator[tuple[int, int]]:
        """When it says present, moving or open."""
        if sensor.kind == "presence":
            return self._seen(sensor, here)
        return self._moved(sensor, here) if sensor.kind == "motion" else self._opened(here)

    def _stirs(self, stay: Stay) -> Iterator[Stir]:
        return stirs(stay, self._dark[stay.room], self._rng(stay.person, stay.start))

    def _seen(self, sensor: Sensor, here: list[Stay]) -> Iterator[tuple[int, int]]:
        """From coming in to going out, but for when somebody sits so still that they are lost."""
        for stay in here:
            seen: int | None = stay.start + round(self._rng(sensor.name, stay.start).uniform(0.3, 1.5) * SECOND_US)
            for stir in self._stirs(stay):
                seen = stir.at if seen is None else seen
                if stir.lost is not None:
                    yield seen, stir.lost
                    seen = None
            if seen is not None:
                yield seen, stay.end + RADAR_HOLDS_US

    def _moved(self, sensor: Sensor, here: list[Stay]) -> Iterator[tuple[int, int]]:
        """Movements, where the sensor can speak again."""
        free = 0
        for at in sorted(stir.at for stay in here for stir in self._stirs(stay)):
            if at >= free:
                least, more = PULSE_S
                ends = at + round((least + self._rng(sensor.name, at).expovariate(1 / more)) * SECOND_US)
                free = max(ends + BLIND_US, at + sensor.rests_ms * 1_000)
                yield at, ends

    def _opened(self, here: list[Stay]) -> Iterator[tuple[int, int]]:
        for stay in here:
            for beyond, at in ((stay.came_from, stay.start), (stay.goes_to, stay.end)):
                if self._by_the_door(self._building.rooms[stay.room], beyond):
                    yield at - SECOND_US, at - SECOND_US + DOOR_OPEN_US

    def _by_the_door(self, room: Room, beyond: str | None) -> bool:
        """Whether one comes from there, or goes there, by the door that has the sensor; None is out of the house.

        In the entrance that is the street door, on the stairs the one of the flat above; elsewhere the room's only one.
        """
        if room.name == self._people.entrance:
            return beyond is None
        if room.name in self._people.passages:
            return beyond is not None and self._people.storey[beyond] != STREET
        return True


def _room_of(sensor: Sensor, building: Building) -> str | None:
    return next((room.name for room in building.rooms.values() if sensor.name in room.sensors), None)


def _merged(spells: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spells that touch are one."""
    merged: list[tuple[int, int]] = []
    for start, end in sorted(spells):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return merged


def _grid(start: int, end: int, step: int) -> range:
    """Instants at whole steps since 1970, so that every stretch of time has the same ones."""
    return range(start - start % step, end, step)


def _alive(sensor: Sensor, spells: list[tuple[int, int]], start: int, end: int) -> Iterator[Reading]:
    """A sensor whose silence would be a fault repeats its value; a motion sensor only that nothing moves."""
    if sensor.alive_ms is None:
        return
    for at in _grid(start, end, sensor.alive_ms * 1000 // 3):
        present = any(begins <= at < ends for begins, ends in spells)
        if sensor.kind != "motion" or not present:
            yield Reading(at, sensor.topic, sensor_says(sensor, present=present), sensor.kind != "motion")


def _health(sensor: Sensor, start: int, end: int) -> Iterator[Reading]:
    for at in _grid(start, end, HOUR_US):
        if sensor.online is not None and sensor.online.topic != sensor.topic:
            yield Reading(at, sensor.online.topic, online_says(sensor.online), retain=True)
        if sensor.battery is not None and sensor.battery.topic != sensor.topic:
            yield Reading(at, sensor.battery.topic, battery_says(sensor.battery), retain=True)


def _feed(feed: Feed, value: float, at: int) -> Reading:
    return Reading(at, feed.topic, feed_says(feed, value), retain=True)
