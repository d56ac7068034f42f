"""Rooms with doors: an opening is evidence, and presence behind shut doors stays until one opens."""

from typing import Any

import pytest
from play import Play, building, lamp, room, sensor


def bath(*more: str, **keys: Any) -> Play:
    """A room with a motion sensor and a shut door, vacant."""
    names = [line.partition(".")[2].partition("]")[0] for line in more]
    plain = {"grace": "5m", "pass_through": "1m", "relight": "0s", "enclosed": True, "warn": False}
    house = building(
        sensor("pir", "motion", clears="20s", stuck="2h"),
        sensor("door", "door", online={"topic": "door_up", "present": ["up"], "absent": ["lost"]}),
        *more,
        lamp("mirror"),
        room("workshop", {"day": {"mirror": 0.9}}, **{"sensors": ["pir", "door", *names], **plain, **keys}),
    )
    play = Play(house, door="closed")
    play.pass_("1h")
    return play


def test_an_opening_lights_and_a_standing_door_keeps_nothing() -> None:
    play = bath(enclosed=False)
    play.say("door", "open")
    assert (play.state(), play.left(), play.levels["mirror"]) == ("grace", 60, 0.9)
    play.pass_("1m")
    assert (play.state(), play.levels["mirror"]) == ("vacant", 0.0)
    play.say("door", "open")  # it was open already
    assert play.state() == "vacant"
    play.say("door", "closed")
    assert play.state() == "vacant"


@pytest.mark.parametrize(("after", "state"), [("30s", "vacant"), ("30.001s", "occupied")])
def test_presence_counts_as_enclosed_only_later_than_settle_and_clears_after_the_last_shut(
    after: str, state: str
) -> None:
    """The pulse of who just went out must have died away before one can be from inside."""
    play = bath(confirm="0s")
    play.say("door", "open")
    play.say("door", "closed")
    play.pass_(after)
    play.say("pir", "on")
    play.pass_("30m")
    assert play.state() == state


def test_settle_may_be_longer() -> None:
    play = bath(settle="1m")
    play.say("door", "open")
    play.say("door", "closed")
    play.pass_("1m20s")
    play.say("pir", "on")
    play.pass_("30m")
    assert play.state() == "vacant"


def enclosed(*more: str, **keys: Any) -> Play:
    """Somebody is behind the shut door, sitting still for ten minutes."""
    play = bath(*more, **keys)
    play.say("pir", "on")
    play.pass_("15s")
    play.say("pir", "on")
    play.pass_("10m")
    assert (play.state(), play.view().present) == ("occupied", True)
    return play


def test_an_opening_lets_go() -> None:
    play = enclosed()
    play.say("door", "open")
    assert (play.state(), play.left()) == ("grace", 300)


def test_any_door_of_the_room_lets_go() -> None:
    play = bath(sensor("other", "door"))
    play.say("other", "closed")
    play.pass_("1h")
    play.say("pir", "on")
    play.pass_("15s")
    play.say("pir", "on")
    play.pass_("30m")
    assert play.state() == "occupied"
    play.say("other", "open")
    assert play.state() == "grace"


def test_a_door_that_is_not_known_encloses_nobody() -> None:
    play = bath(sensor("other", "door"))
    play.say("pir", "on")
    play.pass_("15s")
    play.say("pir", "on")
    play.pass_("20s")
    assert play.state() == "grace"


def test_a_door_sensor_that_is_out_lets_go() -> None:
    play = enclosed()
    play.say("door_up", "lost")
    assert play.state() == "grace"


def test_it_lets_go_when_stuck() -> None:
    play = enclosed()
    play.pass_("1h49m59s")
    assert play.state() == "occupied"
    play.pass_("1s")
    assert play.state() == "grace"


def test_without_enclosed_doors_hold_nobody() -> None:
    play = bath(enclosed=False)
    play.say("pir", "on")
    play.pass_("15s")
    play.say("pir", "on")
    play.pass_("20s")
    assert play.state() == "grace"


def test_a_presence_sensor_that_keeps_seeing_somebody_encloses_without_saying_it_again() -> None:
    play = bath(sensor("radar"))
    play.say("door", "open")
    play.say("radar", True)
    play.say("door", "closed")
    play.pass_("11s")
    play.say("radar", False)
    play.pass_("1h")
    assert play.state() == "occupied"
    play.say("door", "open")
    assert play.state() == "grace"


def test_who_has_left_before_the_door_settled_is_not_enclosed() -> None:
    play = bath(sensor("radar"))
    play.say("radar", True)
    play.pass_("20s")
    play.say("door", "open")
    play.say("door", "closed")
    play.pass_("9s")
    play.say("radar", False)
    assert play.state() == "grace"
    play.pass_("5m")
    assert play.state() == "vacant"


def test_it_outlives_a_restart() -> None:
    play = enclosed()
    play.restart(after="1m", door="closed")
    play.pass_("30m")
    assert play.state() == "occupied"
    play.restart(after="1m", door="open")  # it opened while we were away
    assert play.state() == "grace"


def test_presence_that_is_only_held_over_encloses_nobody() -> None:
    """Last seen 25 s after the shut; that it is believed past the 30 s proves nothing."""
    play = bath(sensor("radar", clears="20s"))
    play.say("door", "open")
    play.say("door", "closed")
    play.pass_("25s")
    play.say("radar", True)
    play.pass_("20s")
    assert play.state() == "grace"
