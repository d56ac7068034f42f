"""The walk as a whole: nothing makes it stumble, and it does the same every time."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sample_day import DAY, HOUSE, WISHES, play, story
from walker import MOST_ADVANCES, Walker, house, instant

from leerie.controller import Controller
from leerie.messages import Message, Outcome
from leerie.notes import HoldBegun, HoldEnded, Moved, Refused
from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS, Now

BUILDING = house(HOUSE)
TOPICS = {wire.topic for fixture in BUILDING.fixtures.values() for wire in fixture.messages}
AT = instant("2026-03-02T09:00:00+00:00")
HOLD = "leerie/room/workshop/hold"

# ---- anything at all -------------------------------------------------------------------------------------------------

WORDS = st.sampled_from([payload.encode() for _, payload in (*DAY, *WISHES)])
PAYLOADS = st.one_of(
    WORDS,
    st.binary(max_size=60),
    st.recursive(
        st.none() | st.booleans() | st.floats().map(str) | st.text(max_size=9),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
        max_leaves=5,
    ).map(lambda value: str(value).replace("'", '"').encode("utf-8", "surrogatepass")),
    st.sampled_from([b"NaN", b"1e999", b"-0", b"[" * 5_000, b'{"hold": true, "level": NaN}', b"9" * 5_000]),
)
MESSAGES = st.builds(
    Message, st.sampled_from(Controller(BUILDING, {}, "b").filters()) | st.text(max_size=20), PAYLOADS, st.booleans()
)
SPANS = st.sampled_from([0, 1, 150, SECOND_MS, 21 * SECOND_MS, 2 * MINUTE_MS, 16 * MINUTE_MS, 5 * HOUR_MS])
STEPS_OF_CLOCK = st.sampled_from([-30 * HOUR_MS, -HOUR_MS, -1, 5_000, HOUR_MS, 9 * HOUR_MS, 400 * 24 * HOUR_MS])
CALLS = st.lists(
    st.one_of(
        st.tuples(st.just("hear"), MESSAGES),
        st.tuples(st.just("hear"), MESSAGES),
        st.tuples(st.just("wait"), SPANS),
        st.tuples(st.just("step the wall clock"), STEPS_OF_CLOCK),
        st.tuples(st.just("link"), st.none()),
        st.tuples(st.just("settle"), st.none()),
        st.tuples(st.just("lose"), st.none()),
        st.tuples(st.just("answer"), st.booleans()),
        st.tuples(st.just("wake"), st.none()),
    ),
    max_size=25,
)


class Judge:
    """Makes the calls, and holds what comes of each against what must always be true."""

    def __init__(self) -> None:
        self.controller = Controller(BUILDING, {}, "b")
        self.now = AT
        self.settled = False
        self.flying: list[int] = []
        self.hands_off: dict[str, int] = {}
        """Rooms in a hands-off hold → since when, steady ms."""

    def call(self, what: str, given: object) -> None:
        match what, given:
            case "hear", Message() as message:
                self.judge(self.controller.receive(message, self.now))
            case "wait", int(span):
                self.wait(span)
            case "step the wall clock", int(span):
                self.now = Now(self.now.steady, max(0, self.now.wall + span * 1_000))
            case "link", _:
                self.controller.linked(self.now)
            case "settle", _:
                self.settled = True
                outcome = self.judge(self.controller.settled(self.now))
                assert {view.room for view in outcome.rooms} == set(BUILDING.rooms)
                assert set(outcome.records) == set(BUILDING.rooms)
                assert outcome.sky is not None
            case "lose", _:
                self.settled = False
                self.flying.clear()
                self.controller.lost(self.now)
            case "answer", bool(ok):
                for ticket in self.flying:
                    self.controller.acknowledged(ticket, ok, self.now)
                self.flying.clear()
            case "wake", _:
                self.judge(self.controller.advance(self.now))

    def wait(self, span: int) -> None:
        """Time passes; the controller is woken when it wants to be, and is done with that moment soon."""
        end = self.now.steady + span
        at_once = 0
        for _ in range(MOST_ADVANCES):
            due = self.controller.due()
            if due is None or due > end:
                break
            at_once = at_once + 1 if due <= self.now.steady else 0
            assert at_once < 5, "woken, it wants to be woken at the same moment for ever"
            self.now = self.now.at(max(due, self.now.steady))
            self.judge(self.controller.advance(self.now))
        else:
            raise AssertionError("time does not pass")
        self.now = self.now.at(end)

    def judge(self, outcome: Outcome) -> Outcome:
        began = self._holds(outcome)
        self.flying += [publish.ticket for publish in outcome.commands]
        assert self.settled or not (outcome.commands or outcome.rooms or outcome.sky), "spoken before it may"
        for publish in outcome.commands:
            assert publish.topic in TOPICS
            assert publish.payload
            assert 0 < publish.expiry_s <= 300
            fixture = next(name for name, lamp in BUILDING.fixtures.items() if publish.topic == lamp.messages[0].topic)
            room = next(name for name, place in BUILDING.rooms.items() if fixture in place.fixtures)
            since = self.hands_off.get(room)
            pace = BUILDING.fixtures[fixture].pace_ms
            assert since is None or room in began or self.now.steady - since <= pace, f"{fixture}: hands are off"
        for room in outcome.records:
            assert self.controller.memory(room)
        return outcome

    def _holds(self, outcome: Outcome) -> set[str]:
        began = set()
        for note in outcome.notes:
            if isinstance(note, HoldBegun):
                self.hands_off.pop(note.room, None)
                if note.level is None:
                    self.hands_off[note.room] = self.now.steady
                    began.add(note.room)
            elif isinstance(note, HoldEnded):
                self.hands_off.pop(note.room, None)
        return began


@settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.too_slow])
@given(CALLS, st.booleans())
def test_no_call_in_any_order_with_anything_makes_it_stumble(calls: list[tuple[str, object]], linked: bool) -> None:
    judge = Judge()
    if linked:
        judge.call("link", None)
        judge.call("settle", None)
    for what, argument in calls:
        judge.call(what, argument)
    judge.wait(HOUR_MS)


def test_a_message_that_is_refused_says_why_and_moves_nothing() -> None:
    walker = Walker(BUILDING)
    walker.pass_("20m")
    for topic in walker.controller.filters():
        walker.forget()
        walker.say(topic, b"\xff\x00")
        refused = [note for note in walker.notes if isinstance(note, Refused)]
        assert len(refused) == 1
        assert not [note for note in walker.notes if isinstance(note, Moved | HoldBegun | HoldEnded)]
        assert walker.told == []


# ---- bounded ---------------------------------------------------------------------------------------------------------


def test_a_hundred_thousand_messages_leave_no_more_behind_than_a_hundred() -> None:
    """The queue, what waits for the lamps and the records stay as small as they were."""
    walker = Walker(BUILDING)
    sizes = []
    for count in range(100_000):
        topic, payload = DAY[count % len(DAY)]
        outcome = walker.controller.receive(Message(topic, payload.encode()), walker.now)
        for publish in outcome.commands:
            walker.controller.acknowledged(publish.ticket, ok=True, now=walker.now)
        walker.now = walker.now.at(walker.now.steady + 7)
        if count in {99, 50_000, 99_999}:
            walker.take(walker.controller.advance(walker.now))
            walker.pass_("1s")
            records = sum(len(walker.controller.memory(room)) for room in BUILDING.rooms)
            sizes.append((len(walker.controller._queue), len(walker.controller._window.flying), records))
    rooms = len(BUILDING.rooms)
    assert all(queue <= 2 * rooms + 8 and flying == 0 for queue, flying, _ in sizes)
    assert sizes[2][2] < sizes[0][2] * 1.5


# ---- clocks ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hours", [-7, -1, 1, 10])
def test_a_step_of_the_wall_clock_bends_no_length(hours: int) -> None:
    """A grace and a hold end when they would have ended, by the steady clock."""

    def ends(step: int) -> list[tuple[str, int]]:
        walker = Walker(BUILDING)
        walker.say("pir", "on")
        walker.pass_("1m")
        walker.say("leerie/room/bedroom/hold", '{"hold": true, "level": 0.3, "for": "17m"}')
        walker.pass_("10s")
        walker.now = Now(walker.now.steady, walker.now.wall + step * HOUR_MS * 1_000)
        walker.pass_("40m")
        moved = [note for note in walker.notes if isinstance(note, Moved | HoldEnded)]
        return [(note.room, note.at.steady) for note in moved]

    assert ends(hours) == ends(0)
    assert "bedroom" in dict(ends(0))


def test_a_step_of_the_wall_clock_moves_day_parts_both_ways() -> None:
    walker = Walker(BUILDING)
    parts = []
    for hours in (0, 12, -12, 24):
        walker.now = Now(walker.now.steady, walker.now.wall + hours * HOUR_MS * 1_000)
        walker.take(walker.controller.advance(walker.now))
        walker.pass_("1s")
        parts.append(walker.views["workshop"].part)
    assert parts == ["day", "evening", "day", "day"]


# ---- the same every time ---------------------------------------------------------------------------------------------


def test_the_same_day_twice_is_the_same_to_the_byte() -> None:
    assert story(play(7)) == story(play(7))
    assert story(play(7)) != story(play(8))


def test_neither_the_hash_seed_nor_the_machines_zone_changes_a_byte() -> None:
    here = Path(__file__).parent
    told = set()
    for seed, zone in (("1", "UTC"), ("2", "Pacific/Auckland"), ("3", "America/New_York")):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone}
        done = subprocess.run(
            [sys.executable, "-W", "error", here / "sample_day.py"],
            env=environment,
            capture_output=True,
            check=True,
            timeout=120,
        )
        told.add(done.stdout)
    assert len(told) == 1
    assert len(told.pop()) > 10_000
