"""The building as its own sensors tell of it, while invented people walk about in it.

Everything is a function of the building, a seed and the time asked for; nothing is kept from one question to the next.
So any stretch can be asked for by itself, and asked for twice it is the same. Instants are microseconds UTC.
"""

import math
import random
from collections.abc import Iterable, Iterator

import msgspec

from leerie.config.building import Building, Feed, Sensor
from leerie.daylight import sky, sun
from leerie.rehearsal.people import SECOND_US, Stay, household, stays
from leerie.rehearsal.speech import battery_says, button_says, feed_says, online_says, sensor_says

MINUTE_US = 60 * SECOND_US
HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
RADAR_HOLDS_US = 12 * SECOND_US
"""A presence sensor says absent so long after the last person has left."""
MOVEMENT_US = SECOND_US
"""A motion sensor that says when it is over says so this long after a movement."""
DOOR_OPEN_US = 4 * SECOND_US
FEED_EVERY_US = 10 * MINUTE_US
PRESSES = 0.3
"""Share of arrivals in a room with a button at which somebody presses it."""


class Reading(msgspec.Struct, frozen=True):
    """A sensor speaks."""

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

    def stays(self, start: int, end: int) -> tuple[Stay, ...]:
        """Who is where, whole or in part, between two instants; in order of time."""
        return stays(self._building, self._people, self._seed, start, end)

    def cloud(self, at: int) -> float:
        """Cloud cover, 0…1: two slow waves, so that hours differ and days differ."""
        rng = self._rng("cloud")
        hours = at / HOUR_US
        waves = [(0.35, 9.3), (0.25, 2.7), (0.15, 61.0)]
        return min(1.0, max(0.0, 0.55 + sum(a * math.sin(math.tau * (hours / p + rng.random())) for a, p in waves)))

    def outdoor(self, at: int) -> float:
        """What a lux sensor on the roof reads, lx."""
        return sky.clear_sky(sun.position(self._building.site, at).elevation) * sky.cloud_factor(self.cloud(at))

    def standing(self, at: int) -> list[Reading]:
        """What the broker has kept from before that instant: what each sensor that says values said last."""
        before = [reading for reading in self.readings(at - DAY_US, at) if reading.retain]
        last = {reading.topic: reading for reading in before}
        return sorted(last.values(), key=lambda reading: reading.at)

    def readings(self, start: int, end: int) -> list[Reading]:
        """All that the sensors say from one instant to before another, in order of time."""
        stays = self.stays(start - DAY_US, end)
        said = list(self._weather(start, end))
        for name, sensor in self._building.sensors.items():
            here = [stay for stay in stays if stay.room == self._stands[name]]
            said += self._sensor(sensor, here, start, end)
            said += _health(sensor, start, end)
        return sorted((r for r in said if start <= r.at < end), key=lambda r: (r.at, r.topic, r.payload))

    def _rng(self, *key: object) -> random.Random:
        return random.Random("/".join(map(str, (self._seed, *key))))  # noqa: S311 -- an invented world, no secrets

    def _weather(self, start: int, end: int) -> Iterator[Reading]:
        daylight = self._building.daylight
        for at in _grid(start, end, FEED_EVERY_US):
            if daylight.cloud is not None:
                yield _feed(daylight.cloud, self.cloud(at), at)
            if daylight.outdoor is not None:
                yield _feed(daylight.outdoor, self.outdoor(at), at)

    def _sensor(self, sensor: Sensor, here: list[Stay], start: int, end: int) -> Iterator[Reading]:
        if sensor.kind == "button":
            for stay in here:
                yield from self._presses(sensor, stay)
            return
        spells = _merged(self._spells(sensor, here))
        kept = sensor.kind != "motion"
        for begins, ends in spells:
            yield Reading(begins, sensor.topic, sensor_says(sensor, present=True), kept)
            if sensor.clears_ms is None:
                yield Reading(ends, sensor.topic, sensor_says(sensor, present=False), kept)
        yield from _alive(sensor, spells, start, end)

    def _spells(self, sensor: Sensor, here: list[Stay]) -> Iterator[tuple[int, int]]:
        """When it says present, moving or open."""
        if sensor.kind == "presence":
            return self._seen(sensor, here)
        return self._moved(sensor, here) if sensor.kind == "motion" else _opened(here)

    def _seen(self, sensor: Sensor, here: list[Stay]) -> Iterator[tuple[int, int]]:
        for stay in here:
            rng = self._rng(sensor.name, stay.start)
            yield stay.start + round(rng.uniform(0.3, 1.5) * SECOND_US), stay.end + RADAR_HOLDS_US

    def _moved(self, sensor: Sensor, here: list[Stay]) -> Iterator[tuple[int, int]]:
        """Movements, where the sensor can speak again: on coming in, now and then while there, on going out."""
        rests = max(2 * MOVEMENT_US, sensor.rests_ms * 1000)
        last = -rests
        for at in sorted(at for stay in here for at in self._movements(sensor, stay)):
            if at - last >= rests:
                last = at
                yield at, at + MOVEMENT_US

    def _movements(self, sensor: Sensor, stay: Stay) -> Iterator[int]:
        rng = self._rng(sensor.name, stay.person, stay.start)
        at = stay.start + round(rng.uniform(0.2, 1.0) * SECOND_US)
        while at < stay.end:
            yield at
            at += round((2 + rng.expovariate(1 / stay.stirs)) * SECOND_US)
        yield stay.end - MOVEMENT_US

    def _presses(self, sensor: Sensor, stay: Stay) -> Iterator[Reading]:
        rng = self._rng(sensor.name, stay.person, stay.start)
        if not sensor.does or rng.random() > PRESSES:
            return
        value = rng.choice(list(sensor.does))
        yield Reading(stay.start + 3 * SECOND_US, sensor.topic, button_says(sensor, value))
        if sensor.does[value] == "hold toggle":
            yield Reading(
                max(stay.start + 9 * SECOND_US, stay.end - 5 * SECOND_US), sensor.topic, button_says(sensor, value)
            )


def _room_of(sensor: Sensor, building: Building) -> str | None:
    return next((room.name for room in building.rooms.values() if sensor.name in room.sensors), None)


def _opened(here: list[Stay]) -> Iterator[tuple[int, int]]:
    for stay in here:
        for at in (stay.start - SECOND_US, stay.end - SECOND_US):
            yield at, at + DOOR_OPEN_US


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
