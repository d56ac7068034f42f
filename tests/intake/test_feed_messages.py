"""What the weather and the roof say."""

from typing import Literal

import pytest

from leerie.config.building import Feed
from leerie.intake.feeds import feed
from leerie.intake.inputs import Read
from leerie.intake.refusal import Refusal
from leerie.messages import Message


def test_feeds_are_taken_retained_too(take) -> None:
    assert take("weather/now", '{"cloud": 75, "wind": 3}') == Read("cloud", 0.75)
    assert take("weather/now", '{"cloud": "75"}', retained=True) == Read("cloud", 0.75)
    assert take("roof/lux", '{"lx": 8120.5}', retained=True) == Read("outdoor", 8120.5)


@pytest.mark.parametrize(
    ("unit", "payload", "cover"),
    [
        ("percent", "0", 0.0),
        ("percent", "100", 1.0),
        ("fraction", "0.25", 0.25),
        ("fraction", "1", 1.0),
        ("okta", "0", 0.0),
        ("okta", "6", 0.75),
        ("okta", "8", 1.0),
    ],
)
def test_cloud_becomes_a_fraction(unit: Literal["percent", "fraction", "okta"], payload: str, cover: float) -> None:
    """An okta is an eighth of the sky (WMO code table 2700)."""
    assert feed("cloud", Feed("sky", None, 1, unit))(Message("sky", payload.encode())) == Read("cloud", cover)


def test_a_sky_that_cannot_be_seen_is_unknown() -> None:
    """WMO code table 2700: 9 is obscured, not nine eighths."""
    assert feed("cloud", Feed("sky", None, 1, "okta"))(Message("sky", b"9")) == Read("cloud", None)


@pytest.mark.parametrize(
    ("unit", "payload", "reason"),
    [
        ("percent", "100.1", "out_of_range"),
        ("percent", "-1", "out_of_range"),
        ("fraction", "1.01", "out_of_range"),
        ("okta", "8.5", "out_of_range"),
        ("okta", "10", "out_of_range"),
        ("lux", "-0.1", "out_of_range"),
        ("lux", "1e999", "wrong_type"),
        ("lux", "NaN", "wrong_type"),
        ("lux", "true", "wrong_type"),
        ("lux", "", "wrong_type"),
        ("lux", "bright", "wrong_type"),
    ],
)
def test_a_number_out_of_range_or_none_is_refused(
    unit: Literal["percent", "fraction", "okta", "lux"], payload: str, reason: str
) -> None:
    with pytest.raises(Refusal) as refusal:
        feed("outdoor" if unit == "lux" else "cloud", Feed("sky", None, 1, unit))(Message("sky", payload.encode()))
    assert refusal.value.reason == reason


def test_a_feed_concerns_no_room_in_particular(take) -> None:
    refused = take("roof/lux", '{"lx": -3}')
    assert (refused.source, refused.rooms, refused.text) == ("outdoor", (), "outdoor: -3 lx; allowed: 0 to 1000000")
