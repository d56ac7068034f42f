"""What goes out on the state topics, key by key."""

import json
from math import floor, log10
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from leerie import reasons, report
from leerie.notes import Fault
from leerie.views import HoldView, LampView, RoomView, SkyView

LONDON = ZoneInfo("Europe/London")
AT_8_41 = 1_772_440_867_900_000
"""2026-03-02 08:41:07.9 UTC."""
MINUTE_US = 60_000_000

WORKSHOP = RoomView(
    room="workshop",
    state="occupied",
    occupancy="occupied",
    since=AT_8_41,
    until=None,
    hold=None,
    asked=None,
    bias=0.0,
    part="working",
    outdoor=8123.4,
    fixtures=(("bench", LampView(0.88951, 4000)), ("spot", LampView(0.0, None)), ("sign", None)),
    because=(reasons.PartReason("working", AT_8_41 - 11 * MINUTE_US),),
    faults=(Fault("sensor_out", "workshop_pir", AT_8_41 - 1560 * MINUTE_US, "workshop_pir silent for 26h"),),
    present=True,
)
HELD = structs.replace(
    WORKSHOP,
    state="hold",
    until=AT_8_41 + 90 * MINUTE_US,
    hold=HoldView(AT_8_41, AT_8_41 + 90 * MINUTE_US, 90 * 60_000, 0.4, 2700, "topic"),
    asked="light",
    bias=-0.15,
    faults=(),
)
SKY = SkyView(AT_8_41, "working", 14.123456, 136.98765, 0.625, 12_345.6, 0.00064471, "sun+cloud")


def test_a_room_says_its_state() -> None:
    assert json.loads(report.room_state(WORKSHOP, LONDON)) == {
        "state": "occupied",
        "occupancy": "occupied",
        "since": "2026-03-02T08:41:07+00:00",
        "until": None,
        "hold": None,
        "asked": None,
        "bias": 0.0,
        "day_part": "working",
        "outdoor_lux": 8120,
        "fixtures": {
            "bench": {"on": True, "level": 0.89, "kelvin": 4000},
            "spot": {"on": False, "level": 0.0, "kelvin": None},
            "sign": None,
        },
        "because": ["day part working since 08:30"],
        "faults": [
            {
                "code": "sensor_out",
                "what": "workshop_pir",
                "since": "2026-03-01T06:41:07+00:00",
                "text": "workshop_pir silent for 26h",
            }
        ],
    }


def test_its_keys_keep_their_order() -> None:
    """A person who watches the topic finds the same thing in the same place."""
    assert list(json.loads(report.room_state(WORKSHOP, LONDON))) == [
        "state", "occupancy", "since", "until", "hold", "asked", "bias", "day_part", "outdoor_lux", "fixtures",
        "because", "faults",
    ]  # fmt: skip
    assert list(json.loads(report.sky(SKY, LONDON))) == [
        "at", "day_part", "sun_elevation", "sun_azimuth", "cloud", "outdoor_lux", "diffuse_lux", "outdoor_from",
    ]  # fmt: skip


def test_a_hold_says_since_when_until_when_and_at_what() -> None:
    state = json.loads(report.room_state(HELD, LONDON))
    assert state["hold"] == {
        "since": "2026-03-02T08:41:07+00:00",
        "until": "2026-03-02T10:11:07+00:00",
        "for": "1h30m",
        "level": 0.4,
        "kelvin": 2700,
        "by": "topic",
    }
    assert list(state["hold"]) == ["since", "until", "for", "level", "kelvin", "by"]
    assert (state["until"], state["asked"], state["bias"]) == ("2026-03-02T10:11:07+00:00", "light", -0.15)


@pytest.mark.parametrize("ends", ["vacant", "day_part", "ever"])
def test_a_hold_may_end_with_an_event(ends: str) -> None:
    hold = HoldView(AT_8_41, None, ends, None, None, "button")  # type: ignore[arg-type] # the three events
    shown = json.loads(report.room_state(structs.replace(HELD, hold=hold, fixtures=None), LONDON))
    assert shown["hold"] == {
        "since": "2026-03-02T08:41:07+00:00",
        "until": None,
        "for": ends,
        "level": None,
        "kelvin": None,
        "by": "button",
    }


def test_with_hands_off_nobody_knows_the_lamps() -> None:
    assert json.loads(report.room_state(structs.replace(HELD, fixtures=None), LONDON))["fixtures"] is None


def test_the_sky_says_where_its_light_comes_from() -> None:
    assert json.loads(report.sky(SKY, LONDON)) == {
        "at": "2026-03-02T08:41:07+00:00",
        "day_part": "working",
        "sun_elevation": 14.123,
        "sun_azimuth": 136.988,
        "cloud": 0.625,
        "outdoor_lux": 12_300,
        "diffuse_lux": 0.000645,
        "outdoor_from": "sun+cloud",
    }


def test_what_is_not_known_is_null() -> None:
    shown = json.loads(report.sky(structs.replace(SKY, cloud=None, part=None), LONDON))
    assert (shown["cloud"], shown["day_part"]) == (None, None)


def test_an_azimuth_stays_below_the_full_turn() -> None:
    assert json.loads(report.sky(structs.replace(SKY, azimuth=359.9996), LONDON))["sun_azimuth"] == 0


def test_times_carry_the_sites_offset() -> None:
    in_summer = structs.replace(SKY, at=AT_8_41 + 120 * 1440 * MINUTE_US)
    assert json.loads(report.sky(in_summer, LONDON))["at"] == "2026-06-30T09:41:07+01:00"
    assert json.loads(report.sky(SKY, ZoneInfo("Asia/Kathmandu")))["at"] == "2026-03-02T14:26:07+05:45"


@given(st.floats(1e-6, 250_000))
def test_outdoor_light_has_three_significant_digits(lux: float) -> None:
    shown = json.loads(report.sky(structs.replace(SKY, outdoor=lux), LONDON))["outdoor_lux"]
    step = 10.0 ** (floor(log10(lux)) - 2)
    assert shown == pytest.approx(lux, abs=0.501 * step)
    assert shown / step == pytest.approx(round(shown / step))
    assert isinstance(shown, int) or shown != int(shown)


def test_no_light_is_zero() -> None:
    assert b'"outdoor_lux":0,' in report.sky(structs.replace(SKY, outdoor=0.0), LONDON)
