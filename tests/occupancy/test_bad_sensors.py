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
from leerie.notes import Faulted
from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS
from leerie.runtime import log
from leerie.runtime.metrics import Metrics
from leerie.runtime.telling import MOST_A_MINUTE, Teller
from leerie.saving import BURST

UP = {"topic": "up", "present": ["up"], "absent": ["lost"]}
MINUTES = 2
ALWAYS = '[day_parts.always]\nstarts = "00:00"\nblend = "0s"\n'


def house(*sensors: str, **keys: Any) -> Building:
    names = [line.partition(".")[2].partition("]")[0] for line in sensors]
    plain = {"sensors": names, "confirm": "10s", "pass_through": "2m", "grace": "10m", "warn": False, "relight": "0s"}
    return building(
        *sensors, lamp("bench"), room("workshop", {"always": {"bench": 0.8}}, **{**plain, **keys}), days=ALWAYS
    )


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
        """Time passes; the controller is woken when it wants to be, and now and then besides, as by the daemon."""
        least = SECOND_MS if span < HOUR_MS else MINUTE_MS
        end = self.play.now.steady + span
        while self.play.now.steady < end:
            due = self.play.controller.due()
            next_ = min(end, self.play.now.steady + least, end if due is None else max(due, self.play.now.steady))
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
        self.longest_record = max(
            [self.longest_record, *(len(self.play.controller.memory(name)) for name in outcome.records)]
        )
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
def test_a_sensor_that_chatters_costs_no_more_than_its_messages(kind: str) -> None:
    """Sixty words a second, to and fro: what goes out, and what stays behind, does not grow with them. However many
    states the controller shows, the daemon publishes five a second.
    """
    words = ("open", "closed") if kind == "door" else ("on", "off")
    cost = settled(house(sensor("eye", kind), sensor("other")))
    series = len(list(cost.metrics.registry.collect()))
    for _ in range(MINUTES * 60 * 10):
        for count in range(6):
            cost.say("eye", words[count % 2].encode())
        cost.pass_ms(100)
    assert cost.notes["Heard"] == MINUTES * 60 * 60
    assert cost.records <= MINUTES * 60 + BURST + 2, "beyond a few moves a room is written once a second"
    assert cost.commands <= 2
    assert cost.most_notes <= 5
    assert cost.most_queued <= 2 + 8
    assert cost.longest_record < 4_000
    assert len(cost.lines) <= (MINUTES + 1) * (MOST_A_MINUTE + 2) + 5
    assert len(list(cost.metrics.registry.collect())) == series


def test_a_chattering_sensor_says_in_the_log_that_it_does_and_its_last_line_is_where_the_room_is() -> None:
    cost = settled(house(sensor("eye")))
    for count in range(601):
        cost.say("eye", (b"on", b"off")[count % 2])
        cost.pass_ms(100)
    cost.pass_ms(MINUTE_MS)
    [left_out] = [line for line in cost.lines if line["event"] == "left out"]
    assert (left_out["what"], left_out["whom"]) == ("moved", "workshop")
    assert left_out["times"] + cost.told("moved") == cost.notes["Moved"]
    [*_, last] = [line for line in cost.lines if line["event"] == "moved"]
    assert last["after"] == cost.play.state() == "occupied"


def test_what_is_said_ten_thousand_times_is_written_once_a_minute_and_told_once() -> None:
    cost = settled(house(sensor("eye")))
    for _ in range(10_000):
        cost.say("eye", b"on")
        cost.pass_ms(60)
    assert cost.notes["Moved"] == cost.told("moved") == 2, "arriving, occupied"
    assert cost.commands == 1
    assert cost.records <= 10 + 4
    assert cost.states <= 6


# ---- replayed --------------------------------------------------------------------------------------------------------


def test_a_day_that_is_replayed_in_a_moment_leaves_its_last_word_and_no_more() -> None:
    """MQTT messages bear no time: live ones are news, whoever sends them. What the broker kept is not."""
    play = Play(house(sensor("eye"), sensor("pir", "motion", clears="20s")))
    play.pass_("1h")
    cost = Cost(play)
    yesterday = [
        (topic, payload) for hour in range(24) for topic, payload in (("eye", b"on"), ("pir", b"on"), ("eye", b"off"))
    ]
    for topic, payload in yesterday * 10:
        cost.say(topic, payload)
    assert cost.commands == 1
    assert cost.records <= BURST
    cost.pass_ms(13 * MINUTE_MS)
    assert play.state() == "vacant"
    assert cost.commands == 2


def test_a_day_that_the_broker_kept_lights_nothing_once_its_last_word_is_absent() -> None:
    play = Play(house(sensor("eye")))
    play.pass_("1h")
    for payload in ("on", "off") * 50:
        play.say("eye", payload, retained=True)
    play.pass_("11m")
    assert play.state() == "vacant"
    assert not play.noted(Faulted)


# ---- to and fro, and out ---------------------------------------------------------------------------------------------


def test_a_sensor_that_comes_and_goes_each_second_is_told_once_a_minute() -> None:
    cost = settled(house(sensor("eye", online=UP), sensor("other")))
    for _ in range(5 * 60):
        cost.say("up", b"lost")
        cost.pass_ms(SECOND_MS)
        cost.say("up", b"up")
        cost.pass_ms(SECOND_MS)
    assert cost.notes["Faulted"] == cost.notes["Recovered"] == 5 * 60
    assert 10 <= cost.told("faulted") <= 11
    assert cost.told("recovered") == cost.told("faulted")


@pytest.mark.parametrize("last", ["lost", "up"])
def test_however_often_it_came_and_went_the_logs_last_word_is_true(last: str) -> None:
    cost = settled(house(sensor("eye", online=UP), sensor("other")))
    for payload in (*("lost", "up") * 20, last):
        cost.say("up", payload.encode())
        cost.pass_ms(100)
    cost.pass_ms(MINUTE_MS)
    [*_, line] = [line for line in cost.lines if line["event"] in ("faulted", "recovered")]
    assert line["event"] == ("faulted" if last == "lost" else "recovered")
    assert cost.play.faults() == (["sensor_out eye"] if last == "lost" else [])
    assert cost.told("faulted") <= 2


def test_nonsense_a_hundred_times_a_second_is_one_fault_and_a_line_a_minute() -> None:
    cost = settled(house(sensor("eye"), sensor("other")))
    for _ in range(60 * 10 + 1):
        for _ in range(10):
            cost.say("eye", b"perhaps")
        cost.pass_ms(100)
    assert cost.play.faults() == ["message_refused eye"]
    assert cost.told("refused") == 2
    assert cost.told("faulted") == 1
    assert cost.told("recovered") == 0
    assert cost.records <= 60 + BURST + 2
    cost.say("eye", b"off")
    assert (cost.play.faults(), cost.told("recovered")) == ([], 1)


@pytest.mark.parametrize(
    ("keys", "says", "fault"),
    [
        ({"alive": "2h"}, (), "sensor_out"),
        ({"stuck": "3h"}, (("eye", b"on"),), "sensor_stuck"),
        ({"online": UP}, (("up", b"lost"),), "sensor_out"),
        ({"battery": {"topic": "cell", "low": 15}}, (("cell", b"3"),), "battery_low"),
    ],
)
def test_a_fault_that_stands_for_three_days_is_told_once(
    keys: dict[str, Any], says: tuple[tuple[str, bytes], ...], fault: str
) -> None:
    """In the state as long as it stands, in the log once, in the metrics as a number."""
    cost = settled(house(sensor("eye", **keys), sensor("other")))
    for topic, payload in says:
        cost.say(topic, payload)
    for _ in range(72):
        cost.pass_ms(HOUR_MS)
        if fault == "sensor_stuck":
            cost.say("eye", b"on")
    assert cost.play.faults() == [f"{fault} eye"]
    assert (cost.told("faulted"), cost.told("recovered")) == (1, 0)
    assert cost.metrics.registry.get_sample_value("leerie_room_faults", {"room": "workshop"}) == 1


# ---- blind -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("mode", "after"), [("on", "occupied"), ("off", "vacant"), ("last", "vacant")])
def test_a_blind_room_says_so_once_and_no_mode_leaves_it_in_between(mode: str, after: str) -> None:
    """Two sensors die one after the other in a room in use; a day later it is as `if_blind` says: `last` believes what
    it saw for `stuck`, and no longer.
    """
    cost = settled(house(sensor("eye", alive="2h", stuck="5h"), sensor("other", alive="3h", stuck="5h"), if_blind=mode))
    cost.say("other", b"on")
    cost.say("eye", b"on")
    cost.pass_ms(24 * HOUR_MS)
    assert cost.play.state() == after
    assert cost.play.faults() == ["sensor_out eye", "sensor_out other", "room_blind workshop"]
    assert (cost.told("faulted"), cost.told("recovered")) == (3, 0)
    assert cost.metrics.registry.get_sample_value("leerie_room_faults", {"room": "workshop"}) == 3
    cost.say("eye", b"off")
    assert cost.play.faults() == ["sensor_out other"]
    cost.pass_ms(11 * MINUTE_MS)
    assert cost.play.state() == "vacant", "one eye is enough"
