"""What lamps are told follows from the scene, the person's wishes, the day and the light outdoors."""

import math
from dataclasses import dataclass
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from walker import Walker, house, instant

from leerie.config.building import Building
from leerie.config.scenes import Fixed, Follow, Maintain, SunWhite
from leerie.daylight.here import Here, Latch
from leerie.occupancy.records import Asked, Hold, Occupancy
from leerie.occupancy.records import Biased as BiasWished
from leerie.occupancy.table import State
from leerie.reasons import Biased, Follows, Held, Partial, Rested, Unnamed, Warned, White
from leerie.targets.room import RoomTargets
from leerie.targets.scenes import Day, Glide

HOUSE = """
[daylight]
dark = 100
bright = 10000
scale = "{scale}"
outdoor = {{ topic = "roof", expires = "1d" }}
[day_parts.day]
blend = "0s"
starts = "00:00"
kelvin = 3300
[sensors.pir]
kind = "presence"
topic = "pir"
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = {{ out = "$level", white = "$kelvin" }}
kelvin = [2200, 5000]
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
[fixtures.sign]
kind = "switched"
topic = "sign"
[rooms.workshop]
sensors = ["pir"]
fixtures = ["bench", "shelf", "sign"]
confirm = "0s"
auto_on = {auto_on}
{keys}
[rooms.workshop.scenes]
day = {day}
{scenes}
"""


@dataclass
class Scene:
    """A room with one scene, somebody in it, and a light outdoors."""

    day: str
    scenes: str = ""
    keys: str = ""
    auto_on: float = 1.0
    scale: str = "log"
    lux: float = 1_000

    def building(self) -> Building:
        return house(HOUSE.format(**vars(self)))

    def walk(self) -> Walker:
        walker = Walker(self.building())
        walker.say("roof", str(self.lux))
        walker.say("pir", "on")
        walker.pass_("1s")
        return walker


HOLD = "leerie/room/workshop/hold"
BIAS = "leerie/room/workshop/bias"
ASK = "leerie/room/workshop/ask"

# ---- levels ----------------------------------------------------------------------------------------------------------


def test_a_lamp_takes_the_scenes_level_and_one_that_it_does_not_name_is_off() -> None:
    walker = Scene("{ bench = 0.6 }").walk()
    assert walker.level("bench") == 0.6
    assert walker.level("shelf") == walker.level("sign") == 0
    assert walker.reason("shelf").steps == (Unnamed(),)


def test_bias_is_clamped_before_auto_on_and_the_warning_share_it() -> None:
    """0.8 · 1.5 is clamped to 1 before auto_on 0.5 and the warning's 0.4: 0.2, not 0.24."""
    walker = Scene("{ bench = 0.8 }", auto_on=0.5, keys='grace = "2m"\nwarn = { before = "30s", level = 0.4 }').walk()
    walker.say(BIAS, "0.5")
    walker.pass_("1s")
    assert walker.level("bench") == pytest.approx(0.5)
    walker.say("pir", "off")
    walker.pass_("100s")
    assert walker.level("bench") == pytest.approx(0.2)
    bias, partial, warned, _ = walker.reason("bench").steps[1:]
    assert (bias, partial) == (Biased(0.5, 1.0), Partial(0.5, 0.5))
    assert isinstance(warned, Warned)
    assert warned.level == pytest.approx(0.2)


def test_an_ask_brings_the_whole_scene_where_presence_brings_a_share() -> None:
    walker = Scene("{ bench = 0.8 }", auto_on=0.5).walk()
    assert walker.level("bench") == 0.4
    walker.say(ASK, "light")
    walker.pass_("1s")
    assert walker.level("bench") == 0.8


@pytest.mark.parametrize("auto_on", [0, 0.99])
def test_presence_alone_does_not_switch_a_relay_where_it_brings_less_than_the_whole(auto_on: float) -> None:
    walker = Scene("{ sign = 1 }", auto_on=auto_on).walk()
    assert walker.level("sign") == 0
    walker.say(ASK, "light")
    walker.pass_("1s")
    assert walker.level("sign") == 1


def test_a_relay_is_on_above_level_0_and_knows_neither_bias_nor_warning() -> None:
    walker = Scene("{ sign = 0.01 }", keys='grace = "2m"\nwarn = { before = "30s", level = 0 }').walk()
    assert walker.level("sign") == 1
    walker.say(BIAS, "-0.9")
    walker.say("pir", "off")
    walker.pass_("100s")
    assert walker.views["workshop"].state == "grace"
    assert walker.level("sign") == 1


# ---- daylight --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("scale", "lux", "share"),
    [
        ("log", 0, 0),
        ("log", 100, 0),
        ("log", 1_000, 0.5),  # the geometric mean of 100 and 10 000
        ("log", 10_000, 1),
        ("log", 90_000, 1),
        ("linear", 0, 0),
        ("linear", 100, 0),
        ("linear", 5_050, 0.5),
        ("linear", 10_000, 1),
        ("linear", 90_000, 1),
    ],
)
@pytest.mark.parametrize(("first", "second"), [(0.35, 1.0), (0.8, 0.0)])
def test_a_lamp_follows_daylight_up_or_down(scale: str, lux: float, share: float, first: float, second: float) -> None:
    walker = Scene(f"{{ bench = {{ follow = [{first}, {second}] }} }}", scale=scale, lux=lux).walk()
    assert walker.level("bench") == pytest.approx(first + share * (second - first), abs=1e-9)
    [follows] = [step for step in walker.reason("bench").steps if isinstance(step, Follows)]
    assert (follows.outdoor, follows.scale, follows.share) == (lux, scale, pytest.approx(share))


def test_an_escape_routes_lamp_that_daylight_puts_out_rests_at_its_low_end() -> None:
    scene = Scene("{ shelf = { follow = [0.8, 0.0] } }", "vacant = { shelf = 0.2 }", lux=50_000)
    assert scene.walk().level("shelf") == 0
    scene.keys = "egress = true"
    walker = scene.walk()
    assert 0 < walker.level("shelf") <= 0.01
    assert isinstance(walker.reason("shelf").steps[-1], Rested)


def test_an_escape_routes_lamp_that_the_scene_leaves_out_stays_out() -> None:
    walker = Scene("{ shelf = 0.5 }", "vacant = { shelf = 0.2 }", "egress = true").walk()
    assert walker.level("bench") == 0


# ---- white -----------------------------------------------------------------------------------------------------------


def white_of(walker: Walker) -> White:
    [white] = [step for step in walker.reason("bench").steps if isinstance(step, White)]
    return white


def test_a_holds_white_goes_before_the_scenes_and_that_before_the_parts() -> None:
    walker = Scene("{ bench = { level = 0.5, kelvin = 4000 } }").walk()
    assert walker.shown("bench") == (0.5, 4000)
    assert white_of(walker).source == "scene"
    walker.say(HOLD, '{"hold": true, "level": 0.7, "kelvin": 2500}')
    walker.pass_("1s")
    assert walker.shown("bench") == (0.7, 2500)
    assert white_of(walker) == White(2500, "hold", 2500)
    walker = Scene("{ bench = 0.5 }").walk()
    assert white_of(walker) == White(3300, "part", 3300)


def test_the_sites_white_stands_behind_all() -> None:
    building = Scene("{ bench = 0.5 }").building()
    parts = {name: replace(part, kelvin=None) for name, part in building.parts.items()}
    walker = Walker(replace(building, parts=parts))
    walker.say("pir", "on")
    walker.pass_("1s")
    assert white_of(walker) == White(3000, "site", 3000)


@pytest.mark.parametrize(("wanted", "given"), [(1500, 2200), (2200, 2200), (6500, 5000)])
def test_a_white_that_the_lamp_cannot_give_is_cut_and_the_reason_says_so(wanted: int, given: int) -> None:
    walker = Scene(f"{{ bench = {{ level = 0.5, kelvin = {wanted} }} }}").walk()
    assert walker.shown("bench") == (0.5, given)
    assert white_of(walker) == White(given, "scene", wanted)


# ---- holds -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "held"),
    [
        ("{ bench = 0.4 }", {"bench": 0.3, "shelf": 0, "sign": 0}),
        ("{ bench = 0.4, sign = 1 }", {"bench": 0.3, "shelf": 0, "sign": 1}),
        ("{ shelf = { follow = [0.5, 0.0] } }", {"bench": 0, "shelf": 0.3, "sign": 0}),
        ("{}", {"bench": 0.3, "shelf": 0.3, "sign": 0}),
        ("{ bench = 0 }", {"bench": 0.3, "shelf": 0.3, "sign": 0}),
    ],
)
def test_a_hold_lights_what_the_parts_scene_lights_or_all_but_relays(day: str, held: dict[str, float]) -> None:
    walker = Scene(day, auto_on=0.5).walk()
    walker.say(BIAS, "0.5")
    walker.say(HOLD, '{"hold": true, "level": 0.3}')
    walker.pass_("1s")
    assert {lamp: walker.level(lamp) for lamp in held} == held
    lit = next(lamp for lamp, level in held.items() if level == 0.3)
    assert walker.reason(lit).steps[0] == Held(0.3)


# ---- anything --------------------------------------------------------------------------------------------------------

LEVELS = st.floats(0, 1)
KELVIN = st.integers(1_000, 20_000)
LUX = st.just(300.0)
"""One illuminance for all lamps of a scene."""
SUN = st.builds(SunWhite, st.integers(1_000, 4_000), st.integers(4_000, 20_000), st.floats(1, 90))
VALUES = st.one_of(st.builds(Fixed, LEVELS), st.builds(Follow, LEVELS, LEVELS), st.builds(Maintain, LUX))
WHITES = st.one_of(
    st.builds(Fixed, LEVELS, KELVIN | SUN),
    st.builds(Follow, LEVELS, LEVELS, KELVIN | SUN),
    st.builds(Maintain, LUX, KELVIN | SUN),
)
SCENES = st.fixed_dictionaries(
    {}, optional={"bench": VALUES | WHITES, "shelf": VALUES, "sign": st.builds(Fixed, LEVELS)}
)
AT = instant("2026-03-02T09:00:00+00:00")
OCCUPANCY = st.builds(
    Occupancy,
    state=st.sampled_from(State),
    since=st.just(AT),
    under=st.none(),
    warned=st.booleans(),
    hold=st.none() | st.builds(Hold, st.just(AT), st.just("ever"), st.just("topic"), LEVELS, st.none() | KELVIN),
    asked=st.none() | st.builds(Asked, st.booleans(), st.just(AT)),
    bias=st.none() | st.builds(BiasWished, st.floats(-0.9, 1), st.just(AT), st.just("ever")),
)


PLAIN = Scene("{ bench = 1 }")
LATCHES = st.none() | st.builds(Latch, st.none() | st.just(AT), st.booleans())
HERE = st.builds(
    lambda outdoor, share, daylight, elevation, bench, shelf: Here(
        AT,
        outdoor,
        share * outdoor,
        daylight,
        elevation,
        latches={f"day/{lamp}": latch for lamp, latch in (("bench", bench), ("shelf", shelf)) if latch is not None},
    ),
    *(st.floats(0, 1e6), LEVELS, st.floats(0, 1e5), st.floats(-90, 90), LATCHES, LATCHES),
)
DAYS = st.builds(
    lambda part, shares: Day(
        "day" if part else None, (), tuple(Glide("day", "night", share, AT.wall + 1) for share in shares if part)
    ),
    st.booleans(),
    st.lists(LEVELS, max_size=1),
)


@given(SCENES, SCENES, SCENES, SCENES, st.sampled_from(["log", "linear"]), LEVELS, OCCUPANCY, HERE, DAYS)
def test_whatever_the_room_is_in_every_lamp_gets_one_sound_target(  # noqa: PLR0917 - hypothesis hands them over
    day: dict[str, Fixed | Follow],
    asked: dict[str, Fixed | Follow],
    vacant: dict[str, Fixed | Follow],
    night: dict[str, Fixed | Follow],
    scale: Literal["log", "linear"],
    auto_on: float,
    occupancy: Occupancy,
    here: Here,
    today: Day,
) -> None:
    """All lamps named once, in order; levels within 0…1; whites in the lamp's range and only where it has one."""
    plain = PLAIN.building()
    room = plain.rooms["workshop"]
    rules = replace(room.rules, auto_on=auto_on, vacant=vacant)
    scenes = {"day": day, "night": night}
    rooms = {room.name: replace(room, scenes=scenes, asked=asked, rules=rules, area=20.0)}
    fixtures = {name: replace(lamp, lumens=900.0) for name, lamp in plain.fixtures.items()}
    daylight = replace(plain.daylight, scale=scale)
    building = replace(plain, rooms=rooms, fixtures=fixtures, daylight=daylight)
    aim = RoomTargets(building, room.name).aim(occupancy, today, here)
    assert aim.targets is not None
    assert [target.lamp for target in aim.targets] == ["bench", "shelf", "sign"]
    for target in aim.targets:
        assert math.isfinite(target.level)
        assert 0 <= target.level <= 1
        assert (target.level, target.kelvin) == (target.reason.level, target.reason.kelvin)
    bench, shelf, sign = aim.targets
    assert bench.kelvin is not None
    assert 2200 <= bench.kelvin <= 5000
    assert shelf.kelvin is sign.kelvin is None
    assert sign.level in (0, 1)
