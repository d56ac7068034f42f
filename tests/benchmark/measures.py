"""What is measured. Every figure is the median of batches, and stands beside a bare client's work in the same run."""

import json
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import msgspec
from paho.mqtt.client import MQTTMessage

from leerie import aiming
from leerie.config import load
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.daylight.calendar import Calendar
from leerie.daylight.outdoors import Outdoors, look
from leerie.messages import Message, Outcome
from leerie.now import HOUR_MS, Now

START = Now(5_000_000, 1_772_442_000_000_000)  # 2026-03-02 09:00 UTC, a Monday
HEAD = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
holidays = "GB-SCT"
[day_parts.morning]
starts = [{ at = "06:30", days = ["workday"] }, { at = "08:30" }]
[day_parts.working]
starts = "08:30"
days = ["workday"]
[day_parts.dusk]
starts = "sunset - 30m"
[day_parts.evening]
starts = "dusk"
latest = "21:00"
[day_parts.night]
starts = "23:15"
"""
ROOM = """
[sensors.radar{n}]
kind = "presence"
topic = "radar/{n}"
[fixtures.bench{n}]
kind = "tunable"
topic = "lamps/bench/{n}"
payload = {{ out = "$level", white = "$mired" }}
[fixtures.shelf{n}]
kind = "dimmable"
topic = "lamps/shelf/{n}"
payload = "$percent"
lumens = 900
[fixtures.panel{n}]
kind = "tunable"
topic = "lamps/panel/{n}"
payload = {{ arc = "$arc", white = "$kelvin" }}
curve = "dali"
lumens = 4000
[rooms.room{n}]
sensors = ["radar{n}"]
fixtures = ["bench{n}", "shelf{n}", "panel{n}"]
confirm = "0s"
area = 24
daylight_factor = 2
[rooms.room{n}.scenes]
working = {{ bench{n} = {{ follow = [0.35, 1.0], kelvin = {{ sun = [2700, 5000] }} }}, panel{n} = {{ lux = 500 }} }}
evening = {{ bench{n} = 0.5, shelf{n} = {{ follow = [0.6, 0.0] }} }}
night = {{}}
"""


class Figure(msgspec.Struct, frozen=True):
    name: str
    microseconds: float


def building(rooms: int) -> Building:
    """So many rooms of three lamps each."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "house.toml"
        path.write_text(HEAD + "".join(ROOM.format(n=n) for n in range(rooms)))
        return load(path, {}).building


class House:
    """A controller on a clock of its own, whose broker takes everything at once."""

    def __init__(self, rooms: int) -> None:
        self.now = START
        self.controller = Controller(building(rooms), {}, "boot")
        self.controller.linked(self.now)
        self.take(self.controller.settled(self.now))

    def take(self, outcome: Outcome) -> Outcome:
        for command in outcome.commands:
            self.controller.acknowledged(command.ticket, True, self.now)
        return outcome

    def say(self, topic: str, payload: bytes) -> Outcome:
        return self.take(self.controller.receive(Message(topic, payload), self.now))

    def to(self, steady: int) -> None:
        """Time passes, and the controller is woken whenever it wants to be."""
        while (due := self.controller.due()) is not None and due <= steady:
            self.now = self.now.at(max(due, self.now.steady))
            self.take(self.controller.advance(self.now))
        self.now = self.now.at(steady)


def median(do: Callable[[], object], times: int, batches: int) -> float:
    """µs of one call: the median of so many batches of so many calls."""

    def batch() -> float:
        began = time.perf_counter()
        for _ in range(times):
            do()
        return (time.perf_counter() - began) * 1e6 / times

    return statistics.median(batch() for _ in range(batches))


def figures(batches: int = 15) -> Iterator[Figure]:
    """All of them, the bare client's first."""
    yield Figure("a bare client: a message's JSON read, a command's written, no socket", _bare_client(batches))
    yield from _sky(batches)
    for rooms in (1, 200):
        yield from _decisions(rooms, batches)
    yield from _looks(batches)


def _bare_client(batches: int) -> float:
    """What any program must do between a message and its command, by paho's messages and json alone."""

    def echo() -> bytes:
        message = MQTTMessage(1, b"workshop/bench/radar")
        message.payload = b'{"target": true}'
        target = json.loads(message.payload)["target"]
        answer = MQTTMessage(2, b"lamps/bench/do")
        answer.payload = json.dumps({"lamp": target, "out": 204, "white": 4000}).encode()
        return answer.payload

    return median(echo, 500, batches)


def _sky(batches: int) -> Iterator[Figure]:
    house = building(1)
    instants = iter(range(10**9))

    def fresh() -> object:
        return look(Outdoors(), house, START.at(START.steady + 1_000 * next(instants)))

    yield Figure("the sky at an instant", median(fresh, 500, batches))

    def year() -> object:
        calendar = Calendar(house)
        return [calendar.starts(date(2026, 1, 1) + timedelta(days)) for days in range(365)]

    yield Figure("the starts of a year of five day parts, two with the sun", median(year, 1, max(1, batches // 3)))


def _decisions(rooms: int, batches: int) -> Iterator[Figure]:
    """A message that lights a room, one that changes nothing, one that is refused."""
    house = House(rooms)
    of = f"of {rooms} room{'s' if rooms > 1 else ''}"

    def asks_and_asks() -> None:
        for wish in (b"light", b"dark"):
            outcome = house.say("leerie/room/room0/ask", wish)
            assert outcome.rooms
            assert outcome.commands
            house.now = house.now.at(house.now.steady + 1_000)

    yield Figure(f"two decisions, three lamps told in each; {of}", median(asks_and_asks, 20, batches))
    house.say("radar/0", b"on")
    yield Figure(f"a message that changes nothing; {of}", median(lambda: house.say("radar/0", b"on"), 50, batches))
    yield Figure(f"a message that is refused; {of}", median(lambda: house.say("radar/0", b"?"), 50, batches))


def _looks(batches: int) -> Iterator[Figure]:
    """An hour of daylight in a lit room, looking ahead and looking at each step of the grid."""
    for name, far_ms in (("ahead", aiming.FAR_MS), ("at every step", 0)):
        before, aiming.FAR_MS = aiming.FAR_MS, far_ms
        try:
            house = House(1)
            house.say("radar/0", b"on")
            hour = median(lambda house=house: house.to(house.now.steady + HOUR_MS), 1, max(1, batches // 3))
        finally:
            aiming.FAR_MS = before
        yield Figure(f"an hour of daylight in a lit room, looking {name}", hour)
