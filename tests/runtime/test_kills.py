"""Killed at any moment, the daemon comes back with all that it had published; and if it did not, that is seen."""

import json
import time
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any

import pytest

from brokers import WITHIN_S, Heard
from kills.house import Saying
from kills.ledger import Ledger
from kills.lives import MODES, Lives, Mode
from leerie.runtime.herald import STATE_GAP_MS
from leerie.runtime.outbox import Outbox

BEGUN = 1_772_442_000.0
"""Seconds since 1970: long ago, so all that has an end is over."""
FAR = 4_000_000_000.0
"""So far ahead that nothing that ends there is over."""
HELD = {"since": BEGUN, "until": FAR, "for": "9h", "level": None, "kelvin": None, "by": "topic"}


@pytest.mark.broker
@pytest.mark.parametrize("mode", MODES)
def test_killed_at_any_moment_it_comes_back_as_it_was(tmp_path: Path, mode: Mode) -> None:
    lives = Lives(tmp_path, mode, Random(MODES.index(mode)), late_s=WITHIN_S)
    lives.run(4)
    assert lives.moments.total() == 4
    assert lives.ledger.violations == []


def test_no_state_goes_out_before_the_record_of_what_it_tells() -> None:
    """Not even where an older state has long been waiting, and the broker takes one thing at a time."""
    outbox, sent = Outbox(), list[str]()

    def publish(topic: str, _payload: bytes) -> int:
        sent.append(topic)
        return len(sent)

    outbox.put("state", lambda: b"vacant", STATE_GAP_MS)
    outbox.send(publish, 0)
    outbox.answered(1)
    outbox.put("state", lambda: b"occupied", STATE_GAP_MS)
    outbox.put("memory", lambda: b"held")
    outbox.put("state", lambda: b"held", STATE_GAP_MS)
    outbox.send(publish, STATE_GAP_MS, most=1)
    outbox.send(publish, STATE_GAP_MS, most=1)
    assert sent == ["state", "memory", "state"]


class Told:
    """A ledger that is told things without a broker."""

    def __init__(self) -> None:
        self.ledger = Ledger(late_s=1.0)
        self.state()

    def state(self, **changes: Any) -> None:
        """The bench's state; instants in seconds."""
        state = {"occupancy": "occupied", "since": BEGUN, "until": None, "hold": None, "asked": None, "bias": 0.0}
        self.hear("leerie/room/bench/state", _dated({**state, **changes}))

    def held(self, **changes: Any) -> None:
        hold = {**HELD, **changes}
        self.state(since=hold["since"], until=hold["until"], hold=hold)

    def die(self) -> None:
        self.ledger.killed[self.ledger.life] = FAR
        self.ledger.life += 1

    def hear(self, topic: str, value: object) -> None:
        self.ledger.hear(Heard(topic, json.dumps(value).encode(), retained=False))


def _dated(value: Any) -> Any:
    if isinstance(value, dict):
        return {
            key: datetime.fromtimestamp(item, UTC).isoformat() if key in ("since", "until") and item else _dated(item)
            for key, item in value.items()
        }
    return value


def test_what_stays_is_no_violation() -> None:
    told = Told()
    told.held()
    told.die()
    told.held()
    assert told.ledger.violations == []


def test_a_lost_hold_is_seen() -> None:
    told = Told()
    told.held()
    told.die()
    told.state()
    assert "came back as" in told.ledger.violations[0]


@pytest.mark.parametrize(("level", "violations"), [(0.5, 0), (None, 1)])
def test_half_a_hold_is_seen(level: float | None, violations: int) -> None:
    told = Told()
    told.ledger.say(Saying("bench", "hold", '{"hold": true, "for": "9h", "level": 0.5}'))
    said = time.time()
    told.die()
    told.held(level=level, since=said, until=said + 9 * 3_600)
    assert len(told.ledger.violations) == violations


def test_an_older_occupancy_is_seen() -> None:
    told = Told()
    told.ledger.killed[0] = FAR
    told.state(occupancy="grace", since=BEGUN + 5, until=FAR)
    told.die()
    told.state()
    assert "came back as" in told.ledger.violations[0]


def test_a_command_in_a_hands_off_hold_is_seen_over_a_restart_too() -> None:
    told = Told()
    told.held()
    told.die()
    told.hear("lamps/bench", {"lamp": True})
    assert "in a hands-off hold" in told.ledger.violations[0]


def test_a_command_that_was_wished_for_is_none() -> None:
    told = Told()
    told.held()
    told.ledger.say(Saying("bench", "hold", "end"))
    told.hear("lamps/bench", {"lamp": True})
    assert told.ledger.violations == []


def test_a_command_is_none_while_nobody_knows_whether_another_hold_has_come() -> None:
    told = Told()
    told.held()
    told.ledger.say(Saying("bench", "hold", '{"hold": true, "for": "9h", "level": 0.5}'))
    told.held()  # it had been on its way
    told.die()
    told.hear("lamps/bench", {"lamp": True})
    assert told.ledger.violations == []
    told.held()
    told.hear("lamps/bench", {"lamp": True})
    assert "in a hands-off hold" in told.ledger.violations[0]


def test_an_end_that_moves_is_seen() -> None:
    told = Told()
    told.held()
    told.held(until=FAR + 5)
    assert "its end moved" in told.ledger.violations[0]


def test_an_end_that_comes_too_early_is_seen() -> None:
    told = Told()
    told.held()
    told.state()
    assert "its end was to be" in told.ledger.violations[0]


def test_an_end_that_comes_too_late_is_seen() -> None:
    told = Told()
    told.held(until=BEGUN + 60)
    told.state()
    assert "its end was to be" in told.ledger.violations[0]
