"""A room whose light is not what the lumen method says, its meter, and lamps that go by it: the loop closed."""

import json
import math
from collections.abc import Callable
from itertools import pairwise
from random import Random

import msgspec
import pytest
from walker import Walker, house, instant

from leerie.daylight import here
from leerie.daylight.outdoors import Skies

HOUSE = """
[day_parts.day]
starts = "00:00"
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = "7d"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$level"
curve = "square"
lumens = 9000
fade = "{fade}"
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
curve = "square"
lumens = 7000
fade = "{fade}"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench", "shelf"]
confirm = "0s"
area = 8
daylight_factor = {factor}
meter = {{ topic = "lux", pointer = "/lx", expires = "10m", lamps = {lamps}, daylight = {daylight} }}
[rooms.workshop.scenes.day]
bench = {{ lux = {lux} }}
shelf = {{ lux = {lux} }}
"""
WANTED = 500.0
FULL = (9000 + 7000) * 0.5 * 0.8 / 8
"""What both lamps bring at full by the lumen method, lx: lumens · utilisation · maintenance / area, 800."""
SHARES = {"bench": 9 / 16, "shelf": 7 / 16}


class Gauge(msgspec.Struct, frozen=True):
    """How the meter measures and speaks."""

    every: int = 5
    """s"""
    noise: float = 0.0
    """Standard deviation, share of the reading."""
    settles: float = 0.0
    """Time constant, s."""
    late: int = 0
    """A report tells what was seen so many seconds ago."""
    step: float = 0.1
    """lx it rounds to."""
    lamps: float = 1.0
    daylight: float = 1.0


class Bench:
    """The real room around the controller."""

    def __init__(
        self, times: float, daylight: Callable[[int], float], gauge: Gauge, *, fade: int = 1, factor: float = 0, seed=0
    ) -> None:
        text = HOUSE.format(fade=f"{fade}s", factor=factor, lamps=gauge.lamps, daylight=gauge.daylight, lux=WANTED)
        self.building = house(text)
        self.times, self.daylight, self.gauge, self.fade = times, daylight, gauge, fade
        self.random = Random(seed)
        self.walker = Walker(self.building, now=instant("2026-03-02T12:00:00+00:00"))
        self.second = 0
        self.speaks = True
        self.outputs = dict.fromkeys(SHARES, 0.0)
        self.goals = dict.fromkeys(SHARES, 0.0)
        self.heard = 0
        self.seen: list[float] = [self.light]
        self.walker.say("radar", "on")

    @property
    def lamps(self) -> float:
        return self.times * FULL * sum(SHARES[lamp] * output for lamp, output in self.outputs.items())

    @property
    def light(self) -> float:
        return self.lamps + self.daylight(self.second)

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.walker.pass_ms(1000)
            self.second += 1
            self._fade()
            self._see()
            if self.speaks and self.second % self.gauge.every == 0:
                self.walker.say("lux", json.dumps({"lx": self.reading()}))

    def _fade(self) -> None:
        told = self.walker.published[self.heard :]
        self.heard = len(self.walker.published)
        for _, publish in told:
            if publish.topic in self.goals:
                self.goals[publish.topic] = float(publish.payload) ** 2
                self.rates[publish.topic] = abs(self.goals[publish.topic] - self.outputs[publish.topic]) / max(self.fade, 1)
        for lamp, goal in self.goals.items():
            most = self.rates.get(lamp, 0)
            self.outputs[lamp] += min(most, max(-most, goal - self.outputs[lamp]))

    rates: dict = {}

    def _see(self) -> None:
        now = self.gauge.lamps * self.lamps + self.gauge.daylight * self.daylight(self.second)
        share = 1 - math.exp(-1 / self.gauge.settles) if self.gauge.settles else 1.0
        self.seen.append(self.seen[-1] + share * (now - self.seen[-1]))

    def reading(self) -> float:
        seen = self.seen[max(0, len(self.seen) - 1 - self.gauge.late)]
        noisy = max(0.0, seen * (1 + self.random.gauss(0, self.gauge.noise)))
        return round(noisy / self.gauge.step) * self.gauge.step
