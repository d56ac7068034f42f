"""The light outdoors: a fresh sensor wins, then the cloud that is told, then the cloud assumed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import GLASGOW, building, instant, site

from leerie.config.building import Feed, Site
from leerie.daylight import sky, sun
from leerie.daylight.outdoors import Outdoors, Reading, look
from leerie.now import HOUR_MS, MINUTE_MS, Now

CLOUD = Feed("weather/now", ("cloud",), 3 * HOUR_MS, "percent")
OUTDOOR = Feed("roof/lux", ("lx",), 15 * MINUTE_MS, "lux")
HOUSE = building(GLASGOW, cloud=CLOUD, outdoor=OUTDOOR)
MORNING = Now(5_000_000, instant("2026-05-06T10:00"))
NIGHT = Now(5_000_000, instant("2026-12-21T23:00"))
CLEAR = sky.clear_sky(sun.position(GLASGOW, MORNING.wall).elevation)
ASSUMED = HOUSE.daylight.assume_cloud


def later(now: Now, ms: int) -> Now:
    return now.at(now.steady + ms)


def test_with_nothing_heard_the_assumed_cloud_dims_the_sun() -> None:
    seen = look(Outdoors(), HOUSE, MORNING)
    assert (seen.source, seen.cloud) == ("sun", None)
    assert seen.outdoor == pytest.approx(CLEAR * sky.cloud_factor(ASSUMED))
    assert seen.diffuse == pytest.approx((0.3 + 0.7 * ASSUMED**2) * seen.outdoor)
    assert sun.Position(seen.elevation, seen.azimuth) == sun.position(GLASGOW, MORNING.wall)


def test_a_fresh_cloud_dims_the_sun() -> None:
    seen = look(Outdoors().read("cloud", 1.0, MORNING), HOUSE, MORNING)
    assert (seen.source, seen.cloud) == ("sun+cloud", 1.0)
    assert seen.outdoor == seen.diffuse == pytest.approx(CLEAR / 4)


def test_a_fresh_sensor_wins_and_the_cloud_behind_its_reading_splits_the_light() -> None:
    """The cloud that is told stays what is said of the cloud."""
    outdoors = Outdoors().read("cloud", 0.0, MORNING).read("outdoor", CLEAR / 4, MORNING)
    seen = look(outdoors, HOUSE, MORNING)
    assert (seen.source, seen.cloud, seen.outdoor) == ("sensor", 0.0, CLEAR / 4)
    assert seen.diffuse == pytest.approx(CLEAR / 4)
    bright = look(Outdoors().read("outdoor", 2 * CLEAR, MORNING), HOUSE, MORNING)
    assert (bright.source, bright.cloud, bright.outdoor) == ("sensor", None, 2 * CLEAR)
    assert bright.diffuse == pytest.approx(0.3 * 2 * CLEAR)


@pytest.mark.parametrize(("feed", "lasts"), [("cloud", CLOUD.expires_ms), ("outdoor", OUTDOOR.expires_ms)])
def test_a_reading_counts_until_it_expires_and_not_a_millisecond_longer(feed: str, lasts: int) -> None:
    outdoors = Outdoors().read(feed, 0.5, MORNING)  # type: ignore[arg-type] # the two feeds, as the table spells them
    assert look(outdoors, HOUSE, later(MORNING, lasts - 1)).source != "sun"
    assert look(outdoors, HOUSE, later(MORNING, lasts)) == look(Outdoors(), HOUSE, later(MORNING, lasts))


def test_freshness_does_not_follow_the_wall_clock() -> None:
    outdoors = Outdoors().read("outdoor", 900.0, MORNING)
    a_year_on = Now(MORNING.steady + 1, MORNING.wall + 365 * 86_400_000_000)
    assert look(outdoors, HOUSE, a_year_on).source == "sensor"


def test_when_the_sensor_falls_silent_the_cloud_takes_over() -> None:
    outdoors = Outdoors().read("cloud", 0.4, MORNING).read("outdoor", 900.0, MORNING)
    silent = later(MORNING, OUTDOOR.expires_ms)
    assert look(outdoors, HOUSE, silent) == look(Outdoors().read("cloud", 0.4, MORNING), HOUSE, silent)


def test_a_word_from_one_feed_leaves_the_other_as_it_was() -> None:
    cloud_first = Outdoors().read("cloud", 0.4, MORNING).read("outdoor", 900.0, MORNING)
    sensor_first = Outdoors().read("outdoor", 900.0, MORNING).read("cloud", 0.4, MORNING)
    assert cloud_first == sensor_first == Outdoors(cloud=Reading(0.4, MORNING), outdoor=Reading(900.0, MORNING))


def test_of_two_memories_the_later_word_of_each_feed_counts() -> None:
    later_on = later(MORNING, 5_000)
    one = Outdoors().read("cloud", 0.4, MORNING).read("outdoor", 900.0, later_on)
    other = Outdoors().read("cloud", 0.5, later_on)
    both = Outdoors(cloud=Reading(0.5, later_on), outdoor=Reading(900.0, later_on))
    assert one.newest(other) == other.newest(one) == both


def test_a_sky_that_cannot_be_seen_is_no_cloud_known() -> None:
    outdoors = Outdoors().read("cloud", 0.9, MORNING).read("cloud", None, MORNING)
    assert look(outdoors, HOUSE, MORNING) == look(Outdoors(), HOUSE, MORNING)


def test_a_feed_that_the_building_does_not_have_tells_nothing() -> None:
    outdoors = Outdoors(cloud=Reading(0.2, MORNING), outdoor=Reading(50.0, MORNING))
    assert look(outdoors, building(GLASGOW), MORNING).source == "sun"


def test_at_night_a_sensor_may_say_nothing_at_all() -> None:
    seen = look(Outdoors().read("outdoor", 0.0, NIGHT), HOUSE, NIGHT)
    assert (seen.outdoor, seen.diffuse, seen.source) == (0.0, 0.0, "sensor")
    assert 0 < look(Outdoors(), HOUSE, NIGHT).outdoor < 0.001


@given(
    st.builds(site, st.floats(-90, 90), st.floats(-180, 180)),
    st.one_of(st.none(), st.floats(0, 1)),
    st.one_of(st.none(), st.floats(0, 200_000), st.floats(0, allow_infinity=False)),
    st.integers(0, 31_536_000_000_000),
)
def test_the_sky_is_always_whole(where: Site, cloud: float | None, outdoor: float | None, after: int) -> None:
    """Anywhere, at any time of a year, for any reading that is let in."""
    now = Now(0, MORNING.wall + after)
    house = building(where, cloud=CLOUD, outdoor=OUTDOOR)
    seen = look(Outdoors().read("cloud", cloud, now).read("outdoor", outdoor, now), house, now)
    assert 0 <= seen.diffuse <= seen.outdoor
    assert -90 <= seen.elevation <= 90
    assert 0 <= seen.cover <= 1
    assert seen.cloud == cloud
    assert seen.source == ("sensor" if outdoor is not None else "sun" if cloud is None else "sun+cloud")
