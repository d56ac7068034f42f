"""What sensors say, and what silence, gaps and replays of them mean."""

from typing import Any

import pytest
from play import Play, building, lamp, room, sensor

from leerie.notes import FalseOff, Refused

UP = {"topic": "up", "present": ["up"], "absent": ["lost"]}


def workshop(*sensors: str, kept: dict[str, Any] | None = None, **keys: Any) -> Play:
    """A room with these sensors, in use for an hour by nobody, its light not yet asked for by anybody."""
    names = [line.partition(".")[2].partition("]")[0] for line in sensors]
    plain = {"sensors": names, "confirm": "10s", "pass_through": "2m", "grace": "10m", "warn": False, "relight": "0s"}
    house = building(*sensors, lamp("bench"), room("workshop", {"day": {"bench": 0.8}}, **{**plain, **keys}))
    play = Play(house, **(kept or {}))
    play.pass_("1h")
    play.heard()
    return play


# ---- motion sensors --------------------------------------------------------------------------------------------------


def test_a_pulse_holds_presence_over_for_clears_and_no_longer() -> None:
    play = workshop(sensor("pir", "motion", clears="20s"))
    play.say("pir", "on")
    play.pass_("19.999s")
    assert play.state() == "arriving"
    play.pass_("0.001s")
    assert (play.state(), play.left()) == ("grace", 120)


def test_clears_is_no_evidence_a_single_pulse_never_confirms() -> None:
    play = workshop(sensor("pir", "motion", clears="1m"))
    play.say("pir", "on")
    play.pass_("59s")
    assert play.state() == "arriving"


def test_each_pulse_starts_clears_anew() -> None:
    play = workshop(sensor("pir", "motion", clears="20s"))
    play.say("pir", "on")
    play.pass_("15s")
    play.say("pir", "on")
    play.pass_("19s")
    assert play.state() == "occupied"
    play.pass_("1s")
    assert (play.state(), play.left()) == ("grace", 600)


def test_with_clears_and_an_absent_word_the_earlier_ends_it() -> None:
    play = workshop(sensor("pir", "motion", clears="20s"))
    play.say("pir", "on")
    play.pass_("5s")
    play.say("pir", "off")
    assert play.state() == "grace"
    play.say("pir", "on")
    play.pass_("20s")
    play.say("pir", "off")
    assert (play.state(), play.left()) == ("grace", 120)


def test_a_pir_that_says_off_and_on_again_confirms_by_its_second_pulse() -> None:
    play = workshop(sensor("pir", "motion"))
    play.say("pir", "on")
    play.pass_("1s")
    play.say("pir", "off")
    play.pass_("30s")
    play.say("pir", "on")
    assert play.state() == "occupied"


def test_no_grace_is_shorter_than_clears_and_rests_and_five_seconds() -> None:
    play = workshop(sensor("pir", "motion", clears="30s", rests="60s"), pass_through="10s", grace="1m")
    play.say("pir", "on")
    play.pass_("30s")
    assert (play.state(), play.left()) == ("grace", 95)
    play.say("pir", "on")
    play.pass_("30s")
    assert (play.state(), play.left()) == ("grace", 95)


def test_a_motion_sensor_without_clears_or_absent_word_is_believed_for_half_an_hour() -> None:
    play = workshop(sensor("pir", "motion"))
    play.say("pir", "on")
    play.pass_("29m59s")
    assert play.state() == "arriving"
    play.pass_("1s")
    assert (play.state(), play.faults()) == ("grace", [])


# ---- presence sensors ------------------------------------------------------------------------------------------------


def test_one_that_never_says_absent_is_believed_until_stuck_and_then_named() -> None:
    play = workshop(sensor("radar", stuck="3h"))
    play.say("radar", True)
    play.pass_("1h")
    play.say("radar", True)  # saying it again proves nothing
    play.pass_("1h59m59s")
    assert (play.state(), play.faults()) == ("occupied", [])
    play.pass_("1s")
    assert (play.state(), play.faults()) == ("grace", ["sensor_stuck radar"])
    play.say("radar", True)
    assert play.state() == "grace"
    play.say("radar", False)
    assert play.faults() == []
    play.say("radar", True)
    assert play.state() == "occupied"


def test_the_default_of_stuck_is_twelve_hours() -> None:
    play = workshop(sensor("radar"))
    play.say("radar", True)
    play.pass_("11h59m59s")
    assert play.state() == "occupied"
    play.pass_("1s")
    assert play.state() == "grace"


def test_keep_alone_brings_no_light_but_keeps_it_through_grace() -> None:
    play = workshop(sensor("pir", "motion", clears="20s"), sensor("radar"), sensors=["pir"], keep=["radar"])
    play.say("radar", True)
    play.pass_("1h")
    assert (play.state(), play.heard()) == ("vacant", {})
    play.say("radar", False)
    play.say("pir", "on")
    play.pass_("1m")
    assert play.state() == "grace"
    play.say("radar", True)
    play.pass_("5h")
    assert play.state() == "occupied"


# ---- sensors that are out --------------------------------------------------------------------------------------------


def test_silence_is_no_fault_without_alive() -> None:
    play = workshop(sensor("radar"))
    play.pass_("30d")
    assert play.faults() == []


def test_one_silent_for_longer_than_alive_is_out_until_it_speaks() -> None:
    play = workshop(sensor("radar", alive="2h"), sensor("other"))
    play.say("radar", True)
    play.pass_("1h59m59s")
    assert (play.state(), play.faults()) == ("occupied", [])
    play.pass_("1s")
    assert (play.state(), play.faults()) == ("grace", ["sensor_out radar"])
    play.say("radar", False)
    assert play.faults() == []


def test_one_that_is_gone_counts_as_absent_while_another_is_not() -> None:
    play = workshop(sensor("radar", online=UP), sensor("other"))
    play.say("radar", True)
    play.pass_("1m")
    play.say("up", "lost")
    assert (play.state(), play.faults()) == ("grace", ["sensor_out radar"])
    play.say("up", "up")
    assert (play.state(), play.faults()) == ("grace", [])
    play.say("radar", True)
    assert play.state() == "occupied"


def test_a_low_battery_is_a_fault_and_never_a_change_of_light() -> None:
    play = workshop(sensor("radar", battery={"topic": "cell", "low": 15}))
    play.say("radar", True)
    play.pass_("1m")
    play.heard()
    play.say("cell", 15)
    assert (play.state(), play.heard(), play.faults()) == ("occupied", {}, ["battery_low radar"])
    play.say("cell", 15.5)
    assert (play.state(), play.heard(), play.faults()) == ("occupied", {}, [])


@pytest.mark.parametrize(("mode", "state"), [("on", "occupied"), ("off", "grace"), ("last", "occupied")])
def test_a_blind_room_follows_if_blind_and_says_so(mode: str, state: str) -> None:
    play = workshop(sensor("radar", alive="2h"), if_blind=mode)
    play.say("radar", True)
    play.pass_("2h")
    assert play.state() == state
    assert play.faults() == ["sensor_out radar", "room_blind workshop"]
    play.say("radar", False)
    assert (play.state(), play.faults()) == ("grace", [])


def test_a_blind_room_lights_by_itself_only_if_it_is_told_to() -> None:
    for mode, state in (("on", "occupied"), ("off", "vacant"), ("last", "vacant")):
        play = workshop(sensor("radar", alive="2h"), if_blind=mode)
        play.say("radar", False)
        play.pass_("2h")
        assert (play.state(), play.levels["bench"] > 0) == (state, state == "occupied")


def test_an_escape_route_is_lit_when_it_is_blind() -> None:
    house = building(
        sensor("radar", alive="2h"),
        lamp("stair"),
        room("workshop", {"day": {"stair": 0.8}, "vacant": {"stair": 0.2}}, sensors=["radar"], egress=True),
    )
    play = Play(house)
    play.pass_("2h")
    assert (play.state(), play.levels["stair"]) == ("occupied", 0.8)


# ---- what the broker kept --------------------------------------------------------------------------------------------


def test_kept_presence_is_no_arrival_but_use() -> None:
    play = workshop(sensor("radar"))
    play.say("radar", True, retained=True)
    assert play.state() == "occupied"
    play.say("radar", False)  # the first live message overrules it
    assert (play.state(), play.left()) == ("grace", 600)


def test_kept_absence_ends_presence() -> None:
    play = workshop(sensor("radar"))
    play.say("radar", True)
    play.say("radar", False, retained=True)
    assert play.state() == "grace"


def test_a_kept_pulse_is_refused_and_named_with_how_to_clear_it() -> None:
    play = workshop(sensor("pir", "motion", clears="20s"))
    play.say("pir", "on", retained=True)
    assert (play.state(), play.faults()) == ("vacant", ["event_retained pir"])
    assert "retained" in play.fault("event_retained").text
    assert "empty" in play.fault("event_retained").text
    assert [note.reason for note in play.noted(Refused)] == ["retained_event"]
    play.say("pir", "on")
    assert (play.state(), play.faults()) == ("arriving", [])


def test_a_kept_door_sets_its_place_and_is_no_opening() -> None:
    play = workshop(sensor("door", "door"))
    play.say("door", "open", retained=True)
    assert play.state() == "vacant"
    play.say("door", "closed")
    play.say("door", "open")
    assert play.state() == "grace"


def test_an_unchanged_value_that_is_replayed_is_no_evidence() -> None:
    play = workshop(sensor("radar", stuck="1h"), sensor("other"))
    play.say("radar", True)
    play.pass_("2h")
    assert play.state() == "vacant"
    play.reconnect(after="1m", radar=True)
    assert play.state() == "vacant"
    play.restart(after="1m", radar=True)
    assert play.state() == "vacant"


def test_a_value_that_changed_while_the_link_was_down_counts() -> None:
    play = workshop(sensor("radar"))
    play.reconnect(after="1m", radar=True)
    assert (play.state(), play.levels["bench"]) == ("occupied", 0.8)
    play.restart(after="1m", radar=False)
    assert play.state() == "grace"


# ---- several rooms, no rooms -----------------------------------------------------------------------------------------


def test_one_sensor_in_several_rooms_counts_in_each_by_that_rooms_own_rules() -> None:
    house = building(
        sensor("landing"),
        sensor("radar"),
        lamp("stair"),
        lamp("bench"),
        room("stairs", {"day": {"stair": 0.6}}, sensors=["landing"], confirm="0s", grace="5m", relight="0s"),
        room("workshop", {"day": {"bench": 0.8}}, sensors=["radar"], keep=["landing"], grace="10m", relight="0s"),
    )
    play = Play(house)
    play.pass_("1h")
    play.say("landing", True)
    assert (play.state("stairs"), play.state("workshop")) == ("occupied", "vacant")
    play.say("radar", True)
    play.pass_("1m")
    play.say("radar", False)
    assert (play.state("stairs"), play.state("workshop")) == ("occupied", "occupied")
    play.say("landing", False)
    assert (play.left("stairs"), play.left("workshop")) == (300, 600)


def test_a_message_that_is_refused_changes_nothing_and_is_named_until_one_is_taken() -> None:
    play = workshop(sensor("radar"))
    play.say("radar", "perhaps")
    assert (play.state(), play.faults(), play.heard()) == ("vacant", ["message_refused radar"], {})
    play.say("radar", False)
    assert play.faults() == []


# ---- false-offs ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("wait", "counted"), [("60s", ["occupied"]), ("60.001s", [])])
def test_presence_within_a_minute_of_going_dark_is_a_false_off(wait: str, counted: list[str]) -> None:
    play = workshop(sensor("radar"))
    play.say("radar", True)
    play.pass_("1m")
    play.say("radar", False)
    play.pass_("10m")
    play.pass_(wait)
    play.say("radar", True)
    assert [note.after for note in play.noted(FalseOff)] == counted


def test_a_value_that_was_kept_says_not_that_somebody_came_back() -> None:
    """A retained presence is of unknown age, whether it brings light or only keeps it."""
    for late in ("radar", "pir"):
        play = workshop(sensor("pir", "presence"), sensor("radar"), sensors=["pir"], keep=["radar"])
        play.say("pir", True)
        play.pass_("11s")
        play.say("pir", False)
        play.pass_("10m5s")
        assert play.state() == "vacant"
        play.say(late, True, retained=True)
        assert not play.noted(FalseOff)


def test_a_false_off_after_somebody_only_passed_through_says_so() -> None:
    play = workshop(sensor("radar"))
    play.say("radar", True)
    play.say("radar", False)
    play.pass_("2m30s")
    play.say("radar", True)
    assert [note.after for note in play.noted(FalseOff)] == ["arriving"]
