"""What lamps bring to the eye, against published figures; and which rooms are too bright before bed."""

from collections.abc import Mapping
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from walker import house

from leerie import eye
from leerie.config.building import Building, Fixture, Room
from leerie.config.scenes import Fixed, Follow, Maintain, SunWhite, Value
from leerie.targets import illuminance

# ---- melanopic efficacy ----------------------------------------------------------------------------------------------

BLACK_BODIES = (
    (1800, 0.2409),
    (2000, 0.2925),
    (2200, 0.3431),
    (2500, 0.4157),
    (2700, 0.4616),
    (2856, 0.4959),
    (3000, 0.5263),
    (3500, 0.6233),
    (4000, 0.7078),
    (4500, 0.7812),
    (5000, 0.8451),
    (5500, 0.9009),
    (6000, 0.9498),
    (6500, 0.9928),
)
"""Melanopic DER of black bodies: Planck's law with the action spectrum of CIE S 026/E:2018, computed with luxpy 1.12.5,
380…780 nm by 1 nm."""


@pytest.mark.parametrize(("kelvin", "der"), BLACK_BODIES)
def test_the_ratio_of_black_bodies_is_that_of_the_action_spectrum(kelvin: int, der: float) -> None:
    assert eye.melanopic_der(kelvin) == pytest.approx(der, abs=0.003)


def test_the_ratio_of_illuminant_a() -> None:
    """A black body of 2856 K. 0.4957: CIE S 026/E:2018 as luxpy 1.12.5's `spd_to_aopicDER` computes it."""
    assert eye.melanopic_der(2856) == pytest.approx(0.4957, abs=0.003)


@pytest.mark.parametrize(
    ("name", "kelvin", "der"),
    [
        ("LED-B1", 2733, 0.4064),
        ("LED-B2", 2998, 0.4578),
        ("LED-B3", 4103, 0.6324),
        ("LED-B4", 5109, 0.6905),
        ("LED-B5", 6598, 0.8549),
        ("LED-V1", 2724, 0.4960),
        ("LED-V2", 4070, 0.7543),
    ],
)
def test_real_lamps_lie_within_the_spread(name: str, kelvin: int, der: float) -> None:
    """LED illuminants of CIE 015:2018, their CCT and ratio computed with luxpy 1.12.5."""
    assert der == pytest.approx(eye.melanopic_der(kelvin), rel=eye.SPREAD), name


@given(st.floats(1_000, 20_000), st.floats(1_000, 20_000))
def test_cooler_light_never_counts_for_less(one: float, other: float) -> None:
    warm, cool = sorted((one, other))
    assert eye.melanopic_der(warm) <= eye.melanopic_der(cool)


@pytest.mark.parametrize(("kelvin", "end"), [(1_000, 1_800), (1_799.9, 1_800), (6_500.1, 6_500), (25_000, 6_500)])
def test_beyond_the_ends_the_ratio_stays(kelvin: float, end: float) -> None:
    assert eye.melanopic_der(kelvin) == eye.melanopic_der(end)


# ---- what is recommended ---------------------------------------------------------------------------------------------


def test_what_is_recommended() -> None:
    """T. M. Brown et al., PLoS Biology 20(3) (2022) e3001571: at least 250 lx melanopic EDI by day, at most 10 in the
    evening, at most 1 at night.
    """
    assert [(bound.lux, bound.at_least) for bound in (eye.DAY, eye.EVENING, eye.NIGHT)] == [
        (250, True),
        (10, False),
        (1, False),
    ]
    assert [eye.DAY.met(249.9), eye.DAY.met(250)] == [False, True]
    assert [eye.EVENING.met(10), eye.EVENING.met(10.1)] == [True, False]
    assert [eye.NIGHT.met(1), eye.NIGHT.met(1.1)] == [True, False]


@pytest.mark.parametrize(
    ("kelvin", "day", "evening", "night"),
    [
        (1800, 1037.8, 41.5, 4.15),
        (2500, 601.4, 24.1, 2.41),
        (2700, 541.6, 21.7, 2.17),
        (3000, 475.0, 19.0, 1.90),
        (4000, 353.2, 14.1, 1.41),
        (6500, 251.8, 10.07, 1.01),
    ],
)
def test_the_light_that_the_recommended_takes(kelvin: int, day: float, evening: float, night: float) -> None:
    """Vertical lx = EDI / DER, the ratio computed with luxpy 1.12.5; here within 0.6 %, a ratio's 0.003 at 0.5."""
    for bound, lux in ((eye.DAY, day), (eye.EVENING, evening), (eye.NIGHT, night)):
        assert bound.lux / eye.melanopic_der(kelvin) == pytest.approx(lux, rel=0.006)


@pytest.mark.parametrize(
    ("horizontal", "ratio", "kelvin", "edi"),
    [(500, 0.5, 2700, 115.4), (500, 0.5, 4000, 176.95), (500, 0.5, 6500, 248.2), (300, 0.4, 2700, 55.4)],
)
def test_from_the_task_to_the_eye(horizontal: float, ratio: float, kelvin: int, edi: float) -> None:
    """Melanopic EDI = E_h · (E_v / E_h) · DER, the ratio computed with luxpy 1.12.5."""
    assert eye.melanopic_edi(horizontal, ratio, kelvin) == pytest.approx(edi, rel=0.006)


# ---- the lumen method ------------------------------------------------------------------------------------------------

HOUSE = """
[day_parts.day]
starts = "08:00"
[day_parts.evening]
starts = "sunset"
kelvin = 2500
[day_parts.night]
starts = "22:30"
[sensors.pir]
kind = "presence"
topic = "pir"
[fixtures.pendant]
kind = "tunable"
topic = "pendant"
payload = { out = "$level", white = "$kelvin" }
kelvin = [2000, 6500]
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
kelvin = 3000
[fixtures.sign]
kind = "switched"
topic = "sign"
[rooms.parlour]
sensors = ["pir"]
fixtures = ["pendant", "shelf", "sign"]
[rooms.parlour.scenes]
day = { pendant = 1 }
evening = { pendant = 1 }
night = { pendant = 0.1 }
"""


def room(area: float | None = 20, **keys: float) -> Room:
    return replace(house(HOUSE).rooms["parlour"], area=area, **keys)


def lamp(name: str = "pendant", **keys: float) -> Fixture:
    return replace(house(HOUSE).fixtures[name], **keys)


@pytest.mark.parametrize(
    ("count", "lumens", "utilisation", "maintenance", "area", "lux"),
    [
        (18, 3200, 0.50, 0.7, 48, 420.0),
        (18, 3200, 0.50, 1.0, 48, 600.0),
        (6, 3600, 0.60, 0.8, 20, 518.4),
        (6, 3600, 0.60, 1.0, 20, 648.0),
        (1, 806, 0.45, 0.8, 12, 24.18),
        (4, 1000, 0.55, 0.8, 16, 110.0),
    ],
)
def test_the_lumen_method(
    count: int, lumens: float, utilisation: float, maintenance: float, area: float, lux: float
) -> None:
    """E = N F UF MF / A. First line: a published worked example, 6 × 8 m, 3200 lm, UF 0.5, MF 0.7, 18 lamps for 400 lx;
    the others by hand.
    """
    hall = room(area, utilisation=utilisation, maintenance=maintenance)
    lamps = [(lamp(lumens=lumens), 1.0)] * count
    assert illuminance.together(hall, lamps) == pytest.approx(lux, abs=0.005)


def test_a_level_for_an_illuminance() -> None:
    """300 of 518.4 lx is 0.57870 of the light, by hand."""
    hall = room(20, utilisation=0.6, maintenance=0.8)
    six = [(lamp(lumens=3600), sqrt(0.57870))] * 6
    assert illuminance.together(hall, six) == pytest.approx(300, abs=0.005)


def test_a_lamps_own_utilisation_goes_before_the_rooms() -> None:
    assert illuminance.full(lamp(lumens=1000, utilisation=0.25), room(20, utilisation=0.5, maintenance=0.8)) == 10


# ---- a scene ---------------------------------------------------------------------------------------------------------

LUMENS = {"pendant": 1500.0, "shelf": 500.0, "sign": 300.0}
PENDANT, SHELF, SIGN = 1500 * 0.5 * 0.8 / 20, 500 * 0.5 * 0.8 / 20, 300 * 0.5 * 0.8 / 20
"""What each brings to the task plane at full: 30, 10 and 6 lx."""


Lights = Mapping[str, Value]


def parlour(evening: Lights, lumens: Mapping[str, float] = LUMENS, area: float | None = 20) -> Building:
    building = house(HOUSE)
    the_room = replace(
        building.rooms["parlour"], area=area, scenes=building.rooms["parlour"].scenes | {"evening": evening}
    )
    fixtures = {name: replace(one, lumens=lumens.get(name)) for name, one in building.fixtures.items()}
    return replace(building, fixtures=fixtures, rooms={"parlour": the_room}, site=replace(building.site, bed="night"))


def estimated(evening: Lights, lumens: Mapping[str, float] = LUMENS, area: float | None = 20) -> eye.Estimate:
    building = parlour(evening, lumens, area)
    return eye.estimate(building, building.rooms["parlour"], "evening", eye.EVENING)


def by_hand(*lights: tuple[float, float]) -> float:
    """From lx at the task plane and DER of each light; half of it reaches the eye."""
    return sum(0.5 * lux * der for lux, der in lights)


@pytest.mark.parametrize(
    ("evening", "edi"),
    [
        ({"pendant": Fixed(1)}, by_hand((PENDANT, 0.4157))),
        ({"pendant": Fixed(0.5)}, by_hand((PENDANT / 4, 0.4157))),
        ({"pendant": Fixed(1, 4000)}, by_hand((PENDANT, 0.7078))),
        ({"pendant": Fixed(1, 1800)}, by_hand((PENDANT, 0.2925))),
        ({"pendant": Fixed(1, SunWhite(2200, 6500))}, by_hand((PENDANT, 0.3431))),
        ({"pendant": Fixed(1, xy=(0.4369, 0.4041))}, by_hand((PENDANT, 0.5263))),
        ({"pendant": Fixed(1), "shelf": Fixed(1)}, by_hand((PENDANT, 0.4157), (SHELF, 0.5263))),
        ({"sign": Fixed(0.3)}, by_hand((SIGN, 0.4157))),
        ({}, 0.0),
        ({"pendant": Fixed(0)}, 0.0),
    ],
    ids=str,
)
def test_a_scenes_lamps_each_with_its_own_white(evening: Lights, edi: float) -> None:
    """(0.4369, 0.4041) is 3000 K by Planck's law and CIE 1931 (colour-science 0.4.7)."""
    found = estimated(evening).edi
    assert found == pytest.approx(edi, rel=0.005, abs=1e-9)


@pytest.mark.parametrize(
    ("evening", "edi"),
    [
        ({"pendant": Follow(0.2, 0.8)}, by_hand((0.64 * PENDANT, 0.4157))),
        ({"pendant": Follow(0.8, 0.0)}, by_hand((0.64 * PENDANT, 0.4157))),
        ({"pendant": Follow(1.0, 0.0), "shelf": Follow(0.0, 1.0)}, by_hand((PENDANT, 0.4157))),
        ({"pendant": Follow(0.0, 0.2), "shelf": Follow(1.0, 0.0)}, by_hand((SHELF, 0.5263))),
    ],
    ids=str,
)
def test_following_lamps_at_the_brighter_end(evening: Lights, edi: float) -> None:
    assert estimated(evening).edi == pytest.approx(edi, rel=0.005)


@pytest.mark.parametrize(
    ("evening", "edi"),
    [
        ({"pendant": Maintain(15)}, by_hand((15, 0.4157))),
        ({"pendant": Maintain(500)}, by_hand((PENDANT, 0.4157))),
        ({"pendant": Maintain(15), "shelf": Fixed(1)}, by_hand((5, 0.4157), (SHELF, 0.5263))),
        ({"pendant": Maintain(5), "shelf": Fixed(1)}, by_hand((SHELF, 0.5263))),
        ({"pendant": Maintain(20, 2500), "shelf": Maintain(20)}, by_hand((15, 0.4157), (5, 0.5263))),
        ({"pendant": Maintain(15, 6500), "shelf": Follow(0.0, 1.0)}, by_hand((15, 0.9928))),
    ],
    ids=str,
)
def test_lamps_that_maintain_an_illuminance_burn_as_at_night(evening: Lights, edi: float) -> None:
    assert estimated(evening).edi == pytest.approx(edi, rel=0.005)


def test_nothing_is_estimated_of_what_is_not_known() -> None:
    both = {"pendant": Fixed(1), "shelf": Fixed(0.5)}
    found = estimated(both, {"pendant": 1500.0}, None)
    assert found.edi is found.low is found.high is found.met is None
    assert found.missing == ("rooms.parlour.area", "fixtures.shelf.lumens")
    assert estimated({"pendant": Fixed(1), "shelf": Fixed(0)}, {"pendant": 1500.0}).missing == ()


def test_an_estimate_shows_how_far_spectra_alone_spread_it() -> None:
    found = estimated({"pendant": Fixed(1, 2700)})
    assert found.edi is not None
    assert found.low == pytest.approx(0.8 * found.edi)
    assert found.high == pytest.approx(1.2 * found.edi)
    assert found.met is True


def test_lamps_as_they_burn() -> None:
    hall = room(10, utilisation=1, maintenance=1)
    bulb = lamp(lumens=10)
    assert eye.from_lamps(hall, [(bulb, 1.0, 6500), (bulb, 0.0, 6500)]) == pytest.approx(0.5 * 0.9928, abs=0.001)
    assert eye.from_lamps(hall, [(lamp("shelf"), 0.0, 3000)]) == 0
    assert eye.from_lamps(hall, [(bulb, 1.0, 6500), (lamp("shelf"), 0.1, 3000)]) is None
