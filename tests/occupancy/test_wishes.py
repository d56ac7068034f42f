"""What people ask for: light, dark, more, less, hands off; and what presence alone may bring."""

from typing import Any

import pytest
from play import Play, building, day_part, lamp, room, sensor

from leerie.notes import HoldBegun, HoldEnded, Refused

DOES = {"short": "ask light", "double": "ask dark", "long": "hold toggle", "up": "raise", "down": "lower"}
WARN = {"before": "30s", "level": 0.5}


def workshop(scenes: dict[str, dict[str, Any]] | None = None, *, days: str | None = None, **keys: Any) -> Play:
    """A vacant room with a sensor, a button, a lamp that dims and one that is switched."""
    house = building(
        sensor("radar"),
        sensor("wall", "button", does=DOES),
        lamp("bench"),
        lamp("sign", kind="switched"),
        room(
            "workshop",
            scenes or {"day": {"bench": 0.8, "sign": 1}, "vacant": {"bench": 0.1}},
            **{"sensors": ["radar", "wall"], "confirm": "10s", "grace": "10m", "relight": "0s", "warn": WARN, **keys},
        ),
        **({"days": days} if days else {}),
    )
    play = Play(house)
    play.pass_("1h")
    return play


def occupied(play: Play) -> Play:
    play.say("radar", True)
    play.pass_("1m")
    return play


# ---- ask light always brings light -----------------------------------------------------------------------------------

NIGHT = day_part("morning", "06:00") + day_part("dim", "08:00") + day_part("day", "08:30") + day_part("late", "20:00")


@pytest.mark.parametrize(
    ("scenes", "bench"),
    [
        ({"day": {"bench": 0.8}, "asked": {"bench": 0.3}}, 0.8),
        ({"day": {}, "morning": {"bench": 0.5}, "asked": {"bench": 0.3}}, 0.3),
        ({"day": {"bench": 0}, "morning": {"bench": 0.5}, "dim": {}, "late": {"bench": 0.2}}, 0.5),
        ({"day": {}, "late": {"bench": 0.2}}, 0.2),
    ],
    ids=["the part's own scene", "the scene for asking", "the last part before that is not dark", "yesterday's, even"],
)
def test_ask_light_brings_light(scenes: dict[str, dict[str, Any]], bench: float) -> None:
    play = workshop({**scenes, "vacant": {"sign": 1}}, days=NIGHT)
    play.ask("light")
    assert (play.view().asked, play.levels["bench"]) == ("light", bench)


def test_ask_light_brings_light_where_daylight_has_put_the_parts_scene_out() -> None:
    house = building(
        "[daylight]\noutdoor = { topic = 'roof', expires = '15m' }\n",
        sensor("radar"),
        lamp("bench"),
        room("workshop", {"day": {"bench": {"follow": [0.8, 0.0]}}, "asked": {"bench": 0.3}}, sensors=["radar"]),
    )
    play = Play(house)
    play.say("roof", 50_000)
    play.ask("light")
    assert play.levels["bench"] == 0.3


def test_what_was_asked_stays_until_vacant_and_a_newer_ask_replaces_it() -> None:
    play = occupied(workshop())
    play.ask("dark")
    play.pass_("1h")
    assert (play.view().asked, play.levels["bench"]) == ("dark", 0.0)
    play.ask("light")
    assert (play.view().asked, play.levels["bench"]) == ("light", 0.8)
    play.say("radar", False)
    play.pass_("10m")
    assert (play.view().asked, play.levels["bench"]) == (None, 0.1)


def test_an_ask_is_no_hold() -> None:
    play = workshop()
    play.ask("light")
    assert (play.state(), play.view().hold) == ("grace", None)
    play.pass_("10m")
    assert play.state() == "vacant"


# ---- what presence alone brings --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("share", "bench", "sign"), [(1, 0.8, 1.0), (0.7, 0.56, 0.0), (0, 0.0, 0.0)])
def test_presence_alone_brings_auto_on_of_the_scene_and_a_relay_only_the_whole(
    share: float, bench: float, sign: float
) -> None:
    play = occupied(workshop(auto_on=share))
    assert play.levels == {"bench": pytest.approx(bench), "sign": sign}
    play.ask("light")
    assert play.levels == {"bench": 0.8, "sign": 1.0}


def test_base_bias_auto_on_and_warning_apply_in_this_order() -> None:
    play = workshop(auto_on=0.7)
    play.bias(0.5)
    occupied(play)
    assert play.levels["bench"] == pytest.approx(0.7)  # 0.8 × 1.5 is cut to 1 before 0.7
    play.say("radar", False)
    play.pass_("9m30s")
    assert play.levels["bench"] == pytest.approx(0.35)


def test_a_relay_knows_no_warning() -> None:
    play = occupied(workshop())
    play.say("radar", False)
    play.pass_("9m30s")
    assert play.levels == {"bench": 0.4, "sign": 1.0}


@pytest.mark.parametrize(("warn", "at", "bench"), [(False, "9m59s", 0.8), ({"before": "8m"}, "4m59s", 0.8)])
def test_a_warning_can_be_left_out_and_begins_no_earlier_than_half_the_grace(warn: Any, at: str, bench: float) -> None:
    play = occupied(workshop(warn=warn))
    play.say("radar", False)
    play.pass_(at)
    assert play.levels["bench"] == bench
    play.pass_("1s")
    assert play.levels["bench"] == {"9m59s": 0.1, "4m59s": 0.4}[at]


# ---- bias ------------------------------------------------------------------------------------------------------------


def test_a_bias_makes_scenes_dimmer_or_brighter_and_leaves_the_vacant_scene_and_relays_alone() -> None:
    play = occupied(workshop())
    play.bias(-0.5)
    assert (play.view().bias, play.levels) == (-0.5, {"bench": 0.4, "sign": 1.0})
    play.say("radar", False)
    play.pass_("10m")
    assert play.levels == {"bench": 0.1, "sign": 0.0}


def test_a_bias_leaves_a_holds_level_alone() -> None:
    play = workshop()
    play.bias(-0.5)
    play.hold({"hold": True, "level": 0.6})
    assert play.levels["bench"] == 0.6


def test_a_plain_bias_is_for_ever_and_zero_clears_it() -> None:
    play = workshop()
    play.bias(-0.5)
    play.pass_("9d")
    occupied(play)
    assert play.view().bias == -0.5
    play.bias(0)
    assert (play.view().bias, play.levels["bench"]) == (0.0, 0.8)


@pytest.mark.parametrize(("ends", "last", "end"), [("90m", "12:30:59", "12:31"), ("day_part", "17:59:59", "18:00")])
def test_a_bias_ends_at_its_time_or_at_a_day_part(ends: str, last: str, end: str) -> None:
    play = occupied(workshop({"day": {"bench": 0.8}, "evening": {"bench": 0.8}, "vacant": {"sign": 1}}))  # it is 10:01
    play.pass_("1h")
    play.bias({"bias": -0.5, "for": ends})
    play.until(last)
    assert play.view().bias == -0.5
    play.until(end)
    assert (play.view().bias, play.levels["bench"]) == (0.0, 0.8)


def test_a_bias_until_vacant_ends_when_the_room_next_becomes_vacant() -> None:
    play = workshop()
    play.bias({"bias": 0.25, "for": "vacant"})  # vacant already: not yet
    occupied(play)
    assert play.levels["bench"] == 1.0
    play.say("radar", False)
    play.pass_("10m")
    assert play.view().bias == 0.0
    play.pass_("1m")
    occupied(play)
    assert play.levels["bench"] == 0.8


def test_a_bias_for_ever_by_name_outlives_vacancy() -> None:
    play = workshop()
    play.bias({"bias": 0.25, "for": "ever"})
    occupied(play)
    play.say("radar", False)
    play.pass_("10m")
    assert play.view().bias == 0.25


def test_a_buttons_raise_and_lower_are_steps_of_a_tenth_until_vacant() -> None:
    play = occupied(workshop())
    play.say("wall", "up")
    play.pass_("1s")
    play.say("wall", "up")
    assert play.view().bias == 0.2
    assert play.levels["bench"] == pytest.approx(0.96)
    play.pass_("1s")
    play.say("wall", "down")
    assert play.view().bias == 0.1
    for _ in range(20):
        play.pass_("1s")
        play.say("wall", "down")
    assert play.view().bias == -0.9
    play.say("radar", False)
    play.pass_("10m")
    assert play.view().bias == 0.0


# ---- relight ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gap", "state", "asked", "bias"), [("60s", "occupied", "light", 0.1), ("61s", "arriving", None, 0)]
)
def test_presence_soon_after_going_dark_brings_back_what_was_there(
    gap: str, state: str, asked: str | None, bias: float
) -> None:
    play = occupied(workshop(relight="60s", auto_on=0.5))
    play.ask("light")
    play.pass_("1s")
    play.say("wall", "up")
    play.say("radar", False)
    play.pass_("10m")
    assert play.levels["bench"] == 0.1
    play.pass_(gap)
    play.say("radar", True)
    assert (play.state(), play.view().asked, play.view().bias) == (state, asked, bias)
    assert play.levels["bench"] == pytest.approx(0.88 if asked else 0.4)


def test_a_relight_of_nothing_never_relights_even_at_the_very_moment_of_going_dark() -> None:
    play = occupied(workshop(relight="0s"))
    play.ask("light")
    play.say("radar", False)
    play.pass_("10m")
    play.say("radar", True)
    assert (play.state(), play.view().asked) == ("arriving", None)


def test_presence_from_keep_does_not_relight() -> None:
    house = building(
        sensor("pir", "motion", clears="20s"),
        sensor("radar"),
        lamp("bench"),
        room("workshop", {"day": {"bench": 0.8}}, sensors=["pir"], keep=["radar"], pass_through="1m", grace="5m"),
    )
    play = Play(house)
    play.pass_("1h")
    play.say("pir", "on")
    play.pass_("1m30s")
    assert play.state() == "vacant"
    play.say("radar", True)
    assert play.state() == "vacant"


# ---- holds -----------------------------------------------------------------------------------------------------------


def test_a_hold_with_a_level_lights_what_the_scene_lights_and_darkens_the_rest() -> None:
    play = occupied(workshop({"day": {"bench": 0.8}, "vacant": {"sign": 1}}))
    play.hold({"hold": True, "level": 0.3})
    assert play.levels == {"bench": 0.3, "sign": 0.0}


def test_where_the_scene_lights_nothing_a_hold_lights_all_but_switched_lamps() -> None:
    play = occupied(workshop({"day": {}, "vacant": {"sign": 1, "bench": 0.1}}))
    play.hold({"hold": True, "level": 0.3})
    assert play.levels == {"bench": 0.3, "sign": 0.0}


def test_a_hold_until_vacant_begun_in_a_vacant_room_waits_for_the_next_time_it_becomes_vacant() -> None:
    play = workshop()
    play.hold({"hold": True, "for": "vacant", "level": 0.3})
    play.pass_("3h")
    assert play.state() == "hold"
    occupied(play)
    play.say("radar", False)
    play.pass_("10m")
    assert play.state() == "vacant"
    assert [note.why for note in play.noted(HoldEnded)] == ["vacant"]


def test_a_hold_until_the_next_day_part_ends_at_one_this_room_names() -> None:
    play = workshop({"day": {"bench": 0.8}, "night": {"bench": 0.2}, "vacant": {"sign": 1}})  # no evening here
    play.hold({"hold": True, "for": "day_part", "level": 0.3})
    play.until("22:59:59")
    assert play.state() == "hold"
    play.until("23:00")
    assert play.state() == "vacant"


def test_the_rooms_own_hold_for_counts_where_the_hold_says_nothing() -> None:
    for ends, until in (("2h", 7200), ("ever", None), ("vacant", None)):
        play = workshop(hold_for=ends)
        play.say("wall", "long")
        held = play.view().hold
        assert held is not None
        assert (held.by, play.left()) == ("button", until)


def test_after_hands_off_a_level_is_told_even_if_it_was_the_last_one_told() -> None:
    """Who has switched the lamp by hand meanwhile gets what they ask for."""
    play = occupied(workshop())
    play.hold("start")
    play.pass_("1m")
    play.heard()
    play.hold({"hold": True, "level": 0.8})
    assert play.heard()["bench"] == [0.8]


def test_in_a_hands_off_hold_what_lamps_show_is_not_known() -> None:
    play = occupied(workshop())
    play.hold("start")
    assert play.view().fixtures is None
    play.hold("end")
    assert play.view().fixtures is not None


# ---- events ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gap", "state"), [("0.499s", "hold"), ("0.5s", "vacant")])
def test_the_same_event_within_half_a_second_is_one(gap: str, state: str) -> None:
    play = workshop()
    play.hold("toggle")
    play.pass_(gap)
    play.hold("toggle")
    assert play.state() == state


def test_two_different_events_within_half_a_second_are_two() -> None:
    play = workshop()
    play.ask("light")
    play.ask("dark")
    play.pass_("1s")
    assert (play.view().asked, play.levels["bench"]) == ("dark", 0.0)


@pytest.mark.parametrize("topic", ["hold", "ask", "bias"])
def test_a_kept_wish_is_refused_and_named_with_how_to_clear_it(topic: str) -> None:
    play = workshop()
    play.say(f"leerie/room/workshop/{topic}", {"hold": "start", "ask": "light", "bias": "0.5"}[topic], retained=True)
    assert (play.state(), play.view().bias, play.faults()) == ("vacant", 0.0, [f"event_retained workshop/{topic}"])
    assert "empty" in play.fault("event_retained").text
    assert [note.reason for note in play.noted(Refused)] == ["retained_event"]
    play.ask("dark")
    assert play.faults() == []


def test_each_source_that_was_refused_is_named_until_it_or_an_event_is_taken() -> None:
    play = workshop()
    for topic, payload in (("hold", "start"), ("ask", "light"), ("bias", "0.5")):
        play.say(f"leerie/room/workshop/{topic}", payload, retained=True)
    play.say("radar", "nonsense")
    wishes = [f"event_retained workshop/{wish}" for wish in ("hold", "ask", "bias")]
    assert play.faults() == [*wishes, "message_refused radar"]
    play.say("radar", False)
    assert play.faults() == wishes
    play.ask("dark")
    assert play.faults() == []


@pytest.mark.parametrize(
    "payload",
    [
        "maybe",
        {"hold": "yes"},
        {"hold": True, "level": 1.5},
        {"hold": True, "kelvin": 3000},
        {"hold": True, "for": "0s"},
        {"hold": True, "mood": "calm"},
        {"level": 0.5},
        "{",
    ],
)
def test_a_hold_that_is_not_sound_is_refused_whole(payload: Any) -> None:
    play = workshop()
    play.heard()
    play.spoke.clear()
    play.hold(payload)
    assert (play.state(), play.heard(), play.spoke) == ("vacant", {}, ["workshop"])
    assert play.faults() == ["message_refused workshop/hold"]
    assert not play.noted(HoldBegun)


def test_words_are_taken_in_any_case_and_with_outer_space() -> None:
    play = workshop()
    play.hold("  START\n")
    assert play.state() == "hold"


def test_after_every_event_the_room_speaks_changed_or_not() -> None:
    play = workshop()
    for topic, payload in (("hold", "end"), ("bias", "0"), ("ask", "dark"), ("ask", "dark")):
        play.spoke.clear()
        play.say(f"leerie/room/workshop/{topic}", payload)
        assert play.spoke == ["workshop"]
        play.pass_("1s")


def test_a_press_that_is_not_named_does_nothing() -> None:
    play = workshop()
    play.heard()
    play.say("wall", "triple")
    assert (play.state(), play.faults(), play.heard()) == ("vacant", [], {})
