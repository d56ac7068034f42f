"""The buildings that are fuzzed."""

import tempfile
from functools import cache
from pathlib import Path

from leerie.config import load
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.messages import Message, Outcome
from leerie.now import Now

EXAMPLE = Path(__file__).parents[2] / "config.example.toml"
SMALL = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
[service]
refresh = "1h"
drift = "1m"
[daylight]
cloud = { topic = "weather/now", pointer = "/cloud", unit = "percent" }
outdoor = { topic = "roof/lux", pointer = "/lx" }
[day_parts.day]
starts = "sunrise + 10m"
latest = "09:00"
[day_parts.evening]
starts = "sunset - 30m"
[sensors.radar]
kind = "presence"
topic = "workshop/radar"
pointer = "/target"
stuck = "1h"
alive = "30m"
online = { topic = "workshop/up", present = ["up"], absent = ["lost"] }
battery = { topic = "workshop/cell", low = 15 }
[sensors.pir]
kind = "motion"
topic = "workshop/pir"
clears = "20s"
[sensors.wall]
kind = "button"
topic = "workshop/wall"
does = { short = "ask light", long = "hold toggle", up = "raise", down = "lower" }
[sensors.door]
kind = "door"
topic = "bath/door"
stuck = "1h"
[sensors.bath_pir]
kind = "presence"
topic = "bath/pir"
stuck = "1h"
[sensors.stair_pir]
kind = "motion"
topic = "stair/pir"
alive = "30m"
[fixtures.bench]
kind = "tunable"
topic = "lamps/bench"
payload = { out = "$level", white = "$mired" }
lumens = 9600
[fixtures.spot]
kind = "colour"
topic = "lamps/spot"
payload = { dye = ["$red", "$green", "$blue"] }
[fixtures.mirror]
kind = "dimmable"
topic = "lamps/mirror"
payload = "$percent"
[fixtures.stair]
kind = "dimmable"
topic = "lamps/stair"
payload = "$arc"
[rooms.workshop]
sensors = ["pir", "wall"]
keep = ["radar"]
fixtures = ["bench", "spot"]
area = 14.0
daylight_factor = 2.0
meter = { topic = "workshop/lux", pointer = "/lx" }
[rooms.workshop.scenes]
day = { bench = { lux = 300, kelvin = 4000 }, spot = { follow = [0.6, 0.0], xy = [0.6, 0.38] } }
evening = { bench = { level = 0.4, kelvin = { sun = [2700, 4000] } }, spot = 0.2 }
[rooms.bath]
sensors = ["bath_pir", "door"]
fixtures = ["mirror"]
enclosed = true
if_blind = "last"
[rooms.bath.scenes]
day = { mirror = 0.9 }
evening = { mirror = 0.5 }
[rooms.stairs]
sensors = ["stair_pir"]
fixtures = ["stair"]
egress = true
[rooms.stairs.scenes]
day = { stair = 0.8 }
evening = { stair = 0.5 }
vacant = { stair = 0.2 }
"""
"""With something of every kind, and quick to walk through days."""
START = Now(5_000_000, 1_772_438_400_000_000)  # 2026-03-02 08:00 UTC, a Monday
MOST_ADVANCES = 50_000


@cache
def building() -> Building:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "leerie.toml"
        path.write_text(SMALL)
        return load(path, {}).building


class Walk:
    """The real controller in time, with a broker that takes whatever it is given."""

    def __init__(self, memory: dict[str, bytes], now: Now = START, boot: str = "one boot") -> None:
        self.now = now
        self.controller = Controller(building(), memory, boot)
        self.controller.linked(now)
        self.begun = self.take(self.controller.settled(now))

    def say(self, topic: str, payload: bytes, *, retained: bool = False) -> Outcome:
        return self.take(self.controller.receive(Message(topic, payload, retained), self.now))

    def wait(self, span: int) -> None:
        """Time passes, and the controller is woken whenever it wants to be; it is done with a moment soon."""
        end = self.now.steady + span
        at_once = 0
        for _ in range(MOST_ADVANCES):
            due = self.controller.due()
            if due is None or due > end:
                self.now = self.now.at(end)
                return
            at_once = at_once + 1 if due <= self.now.steady else 0
            assert at_once < 5, "woken, it wants to be woken at the same moment for ever"
            self.now = self.now.at(max(due, self.now.steady))
            self.take(self.controller.advance(self.now))
        raise AssertionError("time does not pass")

    def take(self, outcome: Outcome) -> Outcome:
        for publish in outcome.commands:
            self.controller.acknowledged(publish.ticket, ok=True, now=self.now)
        return outcome
