"""Light where two things meet: an ask or a hold in a blend, a manual part, a meter that speaks nonsense."""

import pytest
from walker import Walker, house, instant

from leerie.notes import HoldBegun

HOUSE = """
[daylight]
outdoor = {{ topic = "roof", expires = "1d" }}
[day_parts.late]
starts = "20:00"
blend = "0s"
[day_parts.night]
starts = "23:00"
blend = "10m"
[day_parts.day]
starts = "08:30"
blend = "45m"
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = "7d"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$level"
refresh = "{refresh}"
lumens = 900
[fixtures.clock]
kind = "dimmable"
topic = "clock"
payload = "$level"
refresh = "1m"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench", "clock"]
confirm = "0s"
area = 10
meter = {{ topic = "lux", daylight = 0.001 }}
{keys}
[rooms.workshop.scenes]
{scenes}
[rooms.workshop.during.night]
auto_on = {night}
"""


def walk(start: str, scenes: str, *, keys: str = "", night: float = 1, refresh: str = "never") -> Walker:
    text = HOUSE.format(keys=keys, scenes=scenes, night=night, refresh=refresh)
    walker = Walker(house(text), now=instant(start))
    walker.say("radar", "on")
    return walker


ASK = "leerie/room/workshop/ask"
HOLD = "leerie/room/workshop/hold"


def test_who_asks_for_light_does_not_wait_for_it_to_come_up_out_of_the_dark() -> None:
    walker = walk("2026-03-03T08:29:00+00:00", "night = {}\nday = { bench = 0.8 }\nasked = { bench = 0.15 }")
    walker.say(ASK, "light")
    walker.pass_("1s")
    assert walker.level("bench") == 0.15
    walker.pass_("2m")
    assert walker.level("bench") == 0.8
    walker = walk("2026-03-03T08:30:05+00:00", "night = {}\nday = { bench = 0.8 }")
    walker.say(ASK, "light")
    walker.pass_("1s")
    assert walker.level("bench") == 0.8


def test_light_that_was_asked_for_glides_from_one_lit_part_to_the_next() -> None:
    walker = walk("2026-03-02T22:59:00+00:00", "late = { bench = 0.8 }\nnight = { bench = 0.2 }", keys="auto_on = 0")
    walker.say(ASK, "light")
    walker.pass_("6m")
    assert walker.level("bench") == pytest.approx(0.5, abs=0.02)


def test_an_escape_route_is_left_in_its_lit_scene_not_half_way_to_it() -> None:
    scenes = "night = { bench = 0.02 }\nday = { bench = 0.8 }\nvacant = { bench = 0.1 }"
    walker = walk("2026-03-03T08:30:10+00:00", scenes, keys="egress = true")
    walker.pass_("1s")
    walker.say(HOLD, "start")
    assert any(isinstance(note, HoldBegun) for note in walker.notes)
    assert walker.telling("bench")[-1][1] == 0.8


def test_a_part_that_waits_to_be_asked_is_glided_into_as_well() -> None:
    walker = walk("2026-03-02T22:59:00+00:00", "late = { bench = 0.8 }\nnight = { bench = 0.2 }", night=0)
    walker.pass_("6m")
    assert walker.level("bench") == pytest.approx(0.4, abs=0.02)
    walker.pass_("6m")
    assert walker.level("bench") == 0


def test_a_refresh_does_not_hide_the_end_of_a_blend() -> None:
    """The other lamp's refresh falls between the blend's end and the next step."""
    walker = walk("2026-03-02T22:58:57.5+00:00", "late = { bench = 0.8 }\nnight = { bench = 0.213 }")
    walker.pass_("20m")
    assert walker.level("bench") == 0.213


def test_a_candidate_for_asked_light_keeps_its_latch() -> None:
    """Put out by daylight, the part's own lamp does not come back for a hair's breadth less of it."""
    scenes = "night = {}\nday = { bench = { follow = [0.8, 0.0] } }\nasked = { bench = 0.3 }"
    walker = walk("2026-03-03T12:00:00+00:00", scenes)
    walker.say("roof", "25000")
    walker.pass_("30m")
    walker.say(ASK, "light")
    walker.pass_("1m")
    assert walker.level("bench") == 0.3
    walker.say("roof", "19500")
    walker.pass_("5m")
    assert walker.level("bench") == 0.3
    walker.say("roof", "5000")
    walker.pass_("30m")
    assert walker.level("bench") == pytest.approx(0.8 * 0.26, abs=0.02)


def test_nonsense_from_a_meter_is_refused_and_forgotten_with_its_next_word() -> None:
    walker = walk("2026-03-03T12:00:00+00:00", "night = {}\nday = { bench = { lux = 30 } }")
    walker.say("lux", "1e308")
    assert [fault.what for fault in walker.views["workshop"].faults] == ["meter"]
    walker.say(HOLD, '{"hold": true, "level": 0.4, "for": "ever"}')
    walker.say("lux", "garbage")
    walker.say("lux", "12")
    assert walker.views["workshop"].faults == ()
    again = Walker(walker.building, walker.memory, walker.now)
    assert again.views["workshop"].hold is not None
