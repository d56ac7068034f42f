"""A house in which something happens, and what a scrape sees of it: the real controller, notes and views counted."""

from collections.abc import Iterator
from pathlib import Path

from prometheus_client import generate_latest
from prometheus_client.parser import text_string_to_metric_families

from leerie.config import load
from leerie.config.durations import parse
from leerie.controller import Controller
from leerie.messages import Message, Outcome
from leerie.now import Now
from leerie.runtime.metrics import Metrics

HOUSE = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
[daylight]
cloud = { topic = "weather/cloud", unit = "percent" }
[day_parts.day]
starts = "08:00"
[day_parts.night]
starts = "22:00"
[sensors.radar]
kind = "presence"
topic = "radar"
online = { topic = "radar_up" }
[sensors.pir]
kind = "motion"
topic = "pir"
clears = "20s"
[sensors.door]
kind = "door"
topic = "door"
[sensors.button]
kind = "button"
topic = "button"
does = { short = "ask light" }
[sensors.spare]
kind = "presence"
topic = "spare"
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = { out = "$level", white = "$kelvin" }
[fixtures.lamp]
kind = "dimmable"
topic = "lamp"
payload = "$level"
[rooms.workshop]
sensors = ["radar", "pir", "door", "button"]
fixtures = ["bench"]
confirm = "10s"
pass_through = "1m"
grace = "2m"
[rooms.workshop.scenes]
day = { bench = 0.8 }
[rooms.stair]
sensors = ["pir"]
fixtures = ["lamp"]
egress = true
[rooms.stair.scenes]
day = { lamp = 1 }
night = { lamp = 0.5 }
vacant = { lamp = 0.2 }
[rooms.stair.during.night]
sensors = []
"""
NOON = 1_772_452_800_000_000
"""2 March 2026, 12:00 UTC."""

Series = tuple[str, tuple[tuple[str, str], ...]]
"""Name and labels."""


class Scraped:
    """A house in virtual time, and the page that is made of it."""

    def __init__(self, building_file: Path) -> None:
        self._building = load(building_file, {}).building
        self.now = Now(5_000_000, NOON)
        self.memory: dict[str, bytes] = {}
        self.start()

    def start(self) -> None:
        """From what was last written, if there is anything."""
        self.metrics = Metrics(self._building, lambda: self.now)
        self.before = frozenset(self.series())
        """What there was to be seen before anything had happened."""
        self.controller = Controller(self._building, self.memory, "one boot")
        self.controller.linked(self.now)
        self._take(self.controller.settled(self.now))

    def say(self, topic: str, payload: str | bytes, *, retained: bool = False) -> None:
        self.pass_("0s")
        data = payload.encode() if isinstance(payload, str) else payload
        self._take(self.controller.receive(Message(topic, data, retained), self.now))

    def pass_(self, duration: str) -> None:
        end = self.now.steady + parse(duration)
        while (due := self.controller.due()) is not None and due <= end:
            self.now = self.now.at(max(due, self.now.steady))
            self._take(self.controller.advance(self.now))
        self.now = self.now.at(end)

    def _take(self, outcome: Outcome) -> None:
        for publish in outcome.commands:
            self.controller.acknowledged(publish.ticket, ok=True, now=self.now)
        self.memory.update({room: self.controller.memory(room) for room in outcome.records})
        self.metrics.show(outcome.rooms, outcome.sky)
        self.metrics.count(outcome.notes)

    def series(self) -> dict[Series, float]:
        return dict(self._samples())

    def _samples(self) -> Iterator[tuple[Series, float]]:
        for family in text_string_to_metric_families(generate_latest(self.metrics.registry).decode()):
            for sample in family.samples:
                yield (sample.name, tuple(sorted(sample.labels.items()))), sample.value

    def of(self, name: str, **labels: str) -> float:
        return self.series()[f"leerie_{name}", tuple(sorted(labels.items()))]

    def present(self, sensor: str) -> float:
        return self.of("sensor_present", sensor=sensor)
