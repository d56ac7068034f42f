"""Rooms with rules of their own: day parts, escape routes, and rooms that see nobody."""

from typing import Any

import pytest
from play import Play, building, day_part, lamp, room, sensor

from leerie.controller import Controller
from leerie.messages import Message
from leerie.now import Now

# ---- during ----------------------------------------------------------------------------------------------------------

SCENES = {"day": {"bench": 0.8}, "night": {"bench": 0.2}, "vacant": {}}


def workshop(night: dict[str, Any], at: str = "21:00", **keys: Any) -> Play:
    """A vacant room; its night begins at 23:00."""
    house = building(
        sensor("radar"),
        sensor("pir", "motion", clears="20s"),
        lamp("bench"),
        lamp("glow"),
        room(
            "workshop",
            {**SCENES, "vacant": {"glow": 0.1}},
            {"night": night},
            **{
                "sensors": ["radar", "pir"], "confirm": "10s", "pass_through": "2m", "grace": "10m", "relight": "0s",
                "warn": {"before": "30s", "level": 0.5}, **keys,
            },
        ),
    )  # fmt: skip
    play = Play(house, f"2026-03-02T{at}")
    play.pass_("1h")
    return play


def at_night(night: dict[str, Any]) -> Play:
    play = workshop(night)
    play.until("23:30")
    return play


def test_during_overrides_auto_on() -> None:
    play = at_night({"auto_on": 0})
    play.say("radar", True)
    assert (play.state(), play.levels["bench"]) == ("arriving", 0.0)


def test_during_overrides_confirm_and_pass_through_and_grace() -> None:
    play = at_night({"confirm": "30s", "pass_through": "1m", "grace": "3m"})
    play.say("radar", True)
    play.pass_("29s")
    play.say("radar", False)
    assert play.left() == 60
    play.say("radar", True)
    play.pass_("1s")
    assert play.state() == "occupied"
    play.say("radar", False)
    assert play.left() == 180


def test_during_overrides_warn_and_the_vacant_scene() -> None:
    play = at_night({"warn": False, "vacant": {"glow": 0.02}})
    play.say("radar", True)
    play.pass_("1m")
    play.say("radar", False)
    play.pass_("9m59s")
    assert play.levels == {"bench": 0.2, "glow": 0.0}
    play.pass_("1s")
    assert play.levels == {"bench": 0.0, "glow": 0.02}


def test_during_overrides_relight() -> None:
    play = at_night({"relight": "5m"})
    play.say("radar", True)
    play.pass_("1m")
    play.say("radar", False)
    play.pass_("14m")
    play.say("radar", True)
    assert play.state() == "occupied"


def test_during_overrides_sensors_and_keep() -> None:
    play = at_night({"sensors": ["pir"], "keep": ["radar"]})
    play.say("radar", True)
    assert play.state() == "vacant"
    play.say("radar", False)
    play.say("pir", "on")
    play.pass_("25s")
    play.say("radar", True)
    assert play.state() == "occupied"


def test_a_running_grace_keeps_its_end_when_a_part_begins() -> None:
    play = workshop({"grace": "3m", "warn": False})
    play.say("radar", True)
    play.until("22:55")
    play.say("radar", False)
    play.until("23:00")
    assert (play.state(), play.left(), play.levels["bench"]) == ("grace", 300, 0.2)
    play.pass_("4m59s")
    assert play.state() == "grace"
    play.pass_("1s")
    assert play.state() == "vacant"
    play.say("radar", True)
    play.pass_("1m")
    play.say("radar", False)
    assert play.left() == 180


def test_the_presence_of_a_sensor_that_the_new_part_leaves_out_ends_then() -> None:
    play = workshop({"sensors": ["pir"]})
    play.say("radar", True)
    play.until("22:59:59")
    assert play.state() == "occupied"
    play.until("23:00")
    assert (play.state(), play.left()) == ("grace", 600)
    play.say("radar", True)
    assert play.state() == "grace"
    play.until("08:00")  # by day it counts again, from its next word on
    assert play.state() == "vacant"
    play.say("radar", True)
    assert play.state() == "arriving"


def test_a_vacant_room_goes_to_the_new_parts_vacant_scene_at_once() -> None:
    play = workshop({"vacant": {"glow": 0.02}})
    play.until("22:59:59")
    assert play.levels["glow"] == 0.1
    play.until("23:00")
    assert play.levels["glow"] == 0.02


# ---- escape routes ---------------------------------------------------------------------------------------------------


def stairs(**keys: Any) -> Play:
    house = building(
        "[daylight]\noutdoor = { topic = 'roof', expires = '9h' }\n",
        sensor("landing"),
        lamp("stair"),
        lamp("niche"),
        room(
            "stairs",
            {"day": {"stair": 0.8, "niche": {"follow": [0.5, 0.0]}}, "vacant": {"stair": 0.2}},
            **{"sensors": ["landing"], "egress": True, "grace": "15m", "confirm": "10s", "relight": "0s", **keys},
        ),
    )
    play = Play(house)
    play.say("roof", 50_000)
    play.pass_("1h")
    return play


def test_an_escape_route_has_one_grace_and_no_warning() -> None:
    play = stairs()
    play.say("landing", True)
    play.pass_("1s")
    play.say("landing", False)
    assert play.left("stairs") == 900
    play.pass_("14m59s")
    assert play.levels["stair"] == 0.8
    play.pass_("1s")
    assert play.levels["stair"] == 0.2


def test_a_lamp_that_its_scene_lights_never_goes_off_by_daylight() -> None:
    play = stairs()
    play.say("landing", True)
    assert 0 < play.levels["niche"] <= 0.02
    play.pass_("1h")
    assert 0 < play.levels["niche"] <= 0.02


def test_dimmer_counts_as_nothing_and_brighter_as_it_is() -> None:
    play = stairs()
    play.say("landing", True)
    play.bias(-0.5, "stairs")
    play.pass_("1s")
    assert (play.view("stairs").bias, play.levels["stair"]) == (-0.5, 0.8)
    play.bias(0.25, "stairs")
    assert play.levels["stair"] == 1.0


@pytest.mark.parametrize("wish", [("ask", "dark"), ("hold", {"hold": True, "level": 0})])
def test_the_darkest_wish_brings_the_vacant_scene(wish: tuple[str, Any]) -> None:
    play = stairs()
    play.say("landing", True)
    play.pass_("1m")
    topic, payload = wish
    play.say(f"leerie/room/stairs/{topic}", payload)
    assert play.levels == {"stair": 0.2, "niche": 0.0}


def test_hands_go_off_only_when_it_is_lit() -> None:
    play = stairs()
    play.heard()
    play.hold("start", "stairs")
    assert play.heard()["stair"] == [0.8]
    play.pass_("3h")
    assert play.heard() == {}


def test_from_a_dark_hold_hands_go_off_only_when_it_is_lit() -> None:
    play = stairs()
    play.hold({"hold": True, "level": 0}, "stairs")
    play.pass_("1m")
    play.hold("start", "stairs")
    assert play.levels["stair"] == 0.8


def test_a_clean_stop_leaves_it_lit() -> None:
    play = stairs()
    assert play.levels["stair"] == 0.2
    play.farewell()
    assert play.levels["stair"] == 0.8


def test_a_clean_stop_leaves_other_rooms_as_they_are() -> None:
    play = workshop({})
    play.heard()
    play.farewell()
    assert play.heard() == {}


# ---- rooms that see nobody -------------------------------------------------------------------------------------------


def test_a_porch_is_driven_by_its_day_parts_alone() -> None:
    house = building(
        lamp("porch"),
        room("porch", {"dusk": {"porch": 0.6}, "late": {}}, sensors=[]),
        days=day_part("dusk", "17:00") + day_part("late", "23:30"),
    )
    play = Play(house, "2026-03-02T12:00")
    assert (play.state("porch"), play.view("porch").part, play.levels["porch"]) == ("occupied", "late", 0.0)
    for clock, level in (("16:59:59", 0.0), ("17:00", 0.6), ("23:29:59", 0.6), ("23:30", 0.0)):
        play.until(clock)
        assert (play.state("porch"), play.levels["porch"]) == ("occupied", level)


def test_a_plain_manual_lamp() -> None:
    house = building(
        sensor("wall", "button", does={"short": "ask light", "double": "ask dark"}),
        lamp("reading"),
        room("corner", {"day": {"reading": 0.7}, "night": {"reading": 0.2}}, sensors=["wall"], auto_on=0),
    )
    play = Play(house, "2026-03-02T12:00")
    play.pass_("1h")
    assert (play.state("corner"), play.levels["reading"]) == ("occupied", 0.0)
    play.say("wall", "short")
    assert play.levels["reading"] == 0.7
    play.until("23:00")
    assert play.levels["reading"] == 0.2
    play.restart(after="1m")
    assert (play.view("corner").asked, play.levels["reading"]) == ("light", 0.2)
    play.pass_("1m")
    play.say("wall", "double")
    play.until("12:00")
    assert play.levels["reading"] == 0.0


# ---- restarts --------------------------------------------------------------------------------------------------------


def test_a_restart_whose_memory_cannot_be_read_is_one_without() -> None:
    play = workshop({})
    play.memory["workshop"] = b"{torn"
    play.restart(after="1s")
    assert (play.state(), play.left(), play.view().fixtures) == ("grace", 600, (("bench", None), ("glow", None)))


def test_a_wish_outlives_a_restart() -> None:
    play = workshop({})
    play.hold({"hold": True, "level": 0.3, "for": "2h"})
    play.pass_("30m")
    play.restart(after="30m")
    assert (play.state(), play.left()) == ("hold", 3600)
    play.pass_("1h")
    assert play.state() == "vacant"


def test_a_day_part_that_began_while_we_were_away_ends_the_hold_that_waited_for_it() -> None:
    play = workshop({})
    play.hold({"hold": True, "level": 0.3, "for": "day_part"})
    play.restart(after="1h30m")
    assert (play.state(), play.view().part) == ("vacant", "night")


def test_nothing_is_published_or_sent_before_what_the_broker_kept_has_arrived() -> None:
    house = workshop({}).building
    controller = Controller(house, {}, "boot")
    now = Now(1_000, 1_772_438_400_000_000)
    controller.linked(now)
    outcome = controller.receive(Message("radar", b"true", retained=True), now)
    assert (outcome.commands, outcome.rooms) == ((), ())
    outcome = controller.settled(now)
    assert [view.occupancy for view in outcome.rooms] == ["occupied"]
    assert {publish.topic for publish in outcome.commands} == {"lamps/bench", "lamps/glow"}
