"""Sensors that fail: what a chattering, replaying, flapping or blind one costs, and how it is told.

What one of them means for the light stands in test_sensors.py, and how often a record is written in test_record.py.
"""

import io
import json
from collections import Counter
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from play import Play, building, lamp, room, sensor

from leerie.config.building import Building
from leerie.messages import Message, Outcome
from leerie.notes import Commanded, Faulted, Heard, Moved, Recovered
from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS
from leerie.outlet.outlet import Window
from leerie.runtime import log
from leerie.runtime.metrics import Metrics
from leerie.runtime.telling import MOST_A_MINUTE, Teller

UP = {"topic": "up", "present": ["up"], "absent": ["lost"]}
ALWAYS = "[day_parts.always]\nstarts = \"00:00\"\nblend = \"0s\"\n"


def house(*sensors: str, **keys: Any) -> Building:
    names = [line.partition(".")[2].partition("]")[0] for line in sensors]
    plain = {"sensors": names, "confirm": "10s", "pass_through": "2m", "grace": "10m", "warn": False, "relight": "0s"}
    return building(*sensors, lamp("bench"), room("workshop", {"always": {"bench": 0.8}}, **{**plain, **keys}), days=ALWAYS)


class Cost:
    """All that a stretch of messages leaves to be done, with what the daemon makes of its notes."""

    def __init__(self, play: Play) -> None:
        self.play = play
        self.notes: Counter[str] = Counter()
        self.records = self.states = self.commands = 0
        self.most_notes = self.most_queued = self.longest_record = 0
        self._stream = io.StringIO()
        self._teller = Teller(log.make("json", stream=self._stream), ZoneInfo("UTC"))
        self.metrics = Metrics(play.building, lambda: play.now)

    def say(self, topic: str, payload: bytes) -> Outcome:
        return self.take(self.play.controller.receive(Message(topic, payload), self.play.now))

    def pass_ms(self, span: int) -> None:
        """Time passes, and as in the daemon the controller is woken when it wants to be, and at least each second."""
        end = self.play.now.steady + span
        while self.play.now.steady < end:
            due = self.play.controller.due()
            next_ = min(end, self.play.now.steady + SECOND_MS, end if due is None else max(due, self.play.now.steady))
            self.play.now = self.play.now.at(next_)
            self.take(self.play.controller.advance(self.play.now))

    def take(self, outcome: Outcome) -> Outcome:
        for publish in outcome.commands:
            self.play.controller.acknowledged(publish.ticket, ok=True, now=self.play.now)
        self.records += len(outcome.records)
        self.states += len(outcome.rooms)
        self.commands += len(outcome.commands)
        self.notes.update(type(note).__name__ for note in outcome.notes)
        self.most_notes = max(self.most_notes, len(outcome.notes))
        self.most_queued = max(self.most_queued, len(self.play.controller._queue))
        self.longest_record = max([self.longest_record, *(len(self.play.controller.memory(name)) for name in outcome.records)])
        self.play.views.update({view.room: view for view in outcome.rooms})
        self._teller.tell(outcome.notes, self.play.now)
        self.metrics.count(outcome.notes)
        self.metrics.show(outcome.rooms, outcome.sky)
        return outcome

    @property
    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self._stream.getvalue().splitlines()]

    def told(self, event: str) -> int:
        return sum(line["event"] == event for line in self.lines)


def settled(house: Building) -> Cost:
    play = Play(house)
    play.pass_("1h")
    return Cost(play)


# ---- chattering ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["presence", "motion", "door"])
def test_a_sensor_that_chatters_for_an_hour_costs_no_more_than_its_messages(kind: str) -> None:
    """A hundred words a second, to and fro, for an hour."""
    words = ("open", "closed") if kind == "door" else ("on", "off")
    cost = settled(house(sensor("eye", kind), sensor("other")))
    series = len(list(cost.metrics.registry.collect()))
    seconds, each = 3_600, 10
    for number in range(seconds * 100 // each):
        # Ten of a tenth of a second at one instant: the controller knows no difference, and the test is quicker.
        for count in range(each):
            cost.say("eye", words[count % 2].encode())
        cost.pass_ms(100)
    assert cost.notes["Heard"] == seconds * 100
    assert cost.records <= seconds + 2, "a room is written at most once a second"
    assert cost.commands <= 2 * seconds
    assert cost.most_notes <= 4
    assert cost.most_queued <= 2 + 8
    assert cost.longest_record < 4_000
    assert len(cost.lines) <= 61 * 3 * (MOST_A_MINUTE + 2)
    assert len(list(cost.metrics.registry.collect())) == series
