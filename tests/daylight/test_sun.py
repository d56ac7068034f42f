"""Where the sun stands and when it rises and sets, held against NREL, the US Naval Observatory, pvlib and astral."""

from datetime import UTC, date, datetime, timedelta
from math import cos, radians
from zoneinfo import ZoneInfo

import astral
import astral.sun
import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import TROMSO, instant, site

from leerie.config.building import Site
from leerie.daylight import sun
from leerie.daylight.civil import local, noon_offset

EVENTS: tuple[sun.Event, ...] = ("dawn", "sunrise", "noon", "sunset", "dusk")
DATES = st.dates(date(2000, 1, 1), date(2049, 12, 31))
LATITUDES = st.floats(-90, 90)
LONGITUDES = st.floats(-180, 180)
PLACES = st.builds(site, LATITUDES, LONGITUDES)


def event(where: Site, name: sun.Event, day: date) -> int | str:
    return sun.event(where, name, day, noon_offset(ZoneInfo(where.timezone), day))


def solar(where: Site, name: sun.Event, day: date) -> int | str:
    """The event in a zone that keeps the place's own mean time."""
    return sun.event(where, name, day, round(where.longitude * 240))


def apart(one: float, other: float) -> float:
    """Degrees between two azimuths."""
    return abs((one - other + 180) % 360 - 180)


# I. Reda, A. Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302 (2008), worked
# example; and a second point of pvlib's tests (tests/test_spa.py).
NREL = (
    ("2003-10-17T12:30:30-07:00", 39.742476, -105.1786, 39.872046, 194.340241),
    ("2003-10-18T12:30:30-07:00", 39.742476, -105.1786, 39.505196, 194.311132),
)

# pvlib 0.16.1, spa_python, altitude 0 m, 101325 Pa, 12 °C, delta_t 69.2 s: elevation without refraction and azimuth.
SPA = (
    ("2024-03-20T12:00+00:00", 51.4769, -0.0005, 38.6445, 177.6596),
    ("2024-03-20T17:15+00:00", -0.1807, -78.4678, 88.4163, 74.8601),
    ("2024-12-20T23:10+00:00", 1.3521, 103.8198, 1.1229, 113.4783),
    ("2024-06-21T02:00+00:00", -33.8688, 151.2093, 32.6867, 359.1809),
    ("2024-10-05T16:30+00:00", -33.8688, 151.2093, -34.6334, 126.4256),
    ("2024-03-10T11:15+00:00", 40.7128, -74.0060, -0.8154, 94.3332),
    ("2024-11-03T21:45+00:00", 40.7128, -74.0060, -0.0670, 249.5161),
    ("2024-10-27T06:00+00:00", 52.5200, 13.4050, -0.0092, 111.6112),
    ("2024-06-20T22:45+00:00", 69.6492, 18.9553, 3.0852, 359.7746),
    ("2024-12-21T10:45+00:00", 69.6492, 18.9553, -3.0912, 180.5871),
    ("2024-04-10T10:00+00:00", 78.2232, 15.6267, 19.5777, 164.5704),
    ("2024-01-15T00:30+00:00", -36.8485, 174.7633, 74.4008, 0.0024),
    ("2024-07-15T22:37+00:00", 21.3099, -157.8581, 89.8742, 84.1819),
)


@pytest.mark.parametrize(("at", "latitude", "longitude", "elevation", "azimuth"), NREL + SPA)
def test_the_sun_stands_where_the_solar_position_algorithm_says(
    at: str, latitude: float, longitude: float, elevation: float, azimuth: float
) -> None:
    found = sun.position(site(latitude, longitude), instant(at))
    assert found.elevation == pytest.approx(elevation, abs=0.02)
    assert apart(found.azimuth, azimuth) * cos(radians(elevation)) < 0.02


@pytest.mark.parametrize("latitude", range(-85, 86, 17))
def test_the_sun_stands_where_pvlib_says_at_any_time(latitude: int) -> None:
    """By pvlib 0.16, spa_python, within 0.02° at places and times drawn at random between 2000 and 2049."""
    random = np.random.default_rng(latitude + 90)
    longitude = float(random.uniform(-180, 180))
    seconds = np.sort(random.integers(946_684_800, 2_524_607_999, 200))
    times = pd.DatetimeIndex(seconds.astype("datetime64[s]"), tz="UTC")
    spa = pvlib.solarposition.spa_python(times, latitude, longitude)
    for second, elevation, azimuth in zip(seconds, spa["elevation"], spa["azimuth"], strict=True):
        found = sun.position(site(latitude, longitude), int(second) * 1_000_000)
        assert found.elevation == pytest.approx(elevation, abs=0.02)
        assert apart(found.azimuth, azimuth) * cos(radians(elevation)) < 0.02


@given(st.floats(-89.7, 89.7), LONGITUDES, st.integers(946_684_800, 2_524_607_999))
def test_the_sun_stands_where_astral_says(latitude: float, longitude: float, second: int) -> None:
    """By astral 3.2, at whole seconds: below those it does not look."""
    found = sun.position(site(latitude, longitude), second * 1_000_000)
    observer = astral.Observer(latitude, longitude, 0)
    moment = datetime.fromtimestamp(second, UTC)
    assert found.elevation == pytest.approx(astral.sun.elevation(observer, moment, with_refraction=False), abs=1e-4)
    gap = apart(found.azimuth, astral.sun.azimuth(observer, moment))
    assert gap * cos(radians(found.elevation)) * cos(radians(latitude)) < 0.01


@given(PLACES, st.integers(946_684_800_000_000, 2_524_607_999_000_000))
def test_the_sun_never_jumps(where: Site, wall: int) -> None:
    """It moves at most 15″ of arc a second, and a millisecond later it stands where it stood."""
    before, after = sun.position(where, wall), sun.position(where, wall + 1_000)
    assert abs(after.elevation - before.elevation) < 1e-5
    assert -90 <= before.elevation <= 90
    assert 0 <= before.azimuth <= 360


# US Naval Observatory, to the minute, as quoted in pvlib's tests/test_spa.py and tests/test_solarposition.py:
# date, sunrise, sunset.
USNO = (
    (39.0, -105.0, "-07:00", "2015-01-02", "07:19", "16:49"),
    (39.0, -105.0, "-07:00", "2015-04-02", "05:43", "18:24"),
    (39.0, -105.0, "-07:00", "2015-08-02", "05:01", "19:10"),
    (39.0, -105.0, "-07:00", "2015-12-02", "07:01", "16:38"),
    (39.917, 116.383, "+08:00", "2015-01-02", "07:36", "17:00"),
    (39.917, 116.383, "+08:00", "2015-04-02", "05:58", "18:39"),
    (39.917, 116.383, "+08:00", "2015-08-02", "05:13", "19:28"),
    (39.917, 116.383, "+08:00", "2015-12-02", "07:17", "16:50"),
    (39.742476, -105.1786, "-07:00", "2015-01-01", "07:22", "16:47"),
    (39.742476, -105.1786, "-07:00", "2015-01-03", "07:22", "16:49"),
)


@pytest.mark.parametrize(("latitude", "longitude", "offset", "day", "rises", "sets"), USNO)
def test_the_sun_rises_and_sets_when_the_naval_observatory_says(
    latitude: float, longitude: float, offset: str, day: str, rises: str, sets: str
) -> None:
    where, offset_s = site(latitude, longitude), 3600 * int(offset[:3])
    times: dict[sun.Event, str] = {"sunrise": rises, "sunset": sets}
    for name, at in times.items():
        found = sun.event(where, name, date.fromisoformat(day), offset_s)
        assert isinstance(found, int)
        assert abs(found - instant(f"{day}T{at}{offset}")) <= 60_000_000


# Own search of pvlib 0.16.1's unrefracted elevation for -0.8333° and -6°, on the local civil day:
# sunrise, sunset, dawn, dusk.
SEARCHED = (
    (51.5074, -0.1278, "Europe/London", "2024-03-31", ("06:37:14", "19:32:50", "06:03:23", "20:06:48")),
    (51.5074, -0.1278, "Europe/London", "2024-06-20", ("04:42:59", "21:21:26", "03:55:13", "22:09:13")),
    (51.5074, -0.1278, "Europe/London", "2024-12-21", ("08:03:59", "15:53:36", "07:23:38", "16:33:57")),
    (40.7128, -74.0060, "America/New_York", "2024-03-10", ("07:14:54", "18:57:55", "06:47:38", "19:25:14")),
    (40.7128, -74.0060, "America/New_York", "2024-11-03", ("06:29:20", "16:49:18", "06:00:45", "17:17:52")),
    (-0.1807, -78.4678, "America/Guayaquil", "2024-03-20", ("06:17:52", "18:24:21", "05:57:12", "18:45:01")),
    (-33.8688, 151.2093, "Australia/Sydney", "2024-12-21", ("05:40:51", "20:05:38", "05:11:41", "20:34:48")),
    (-36.8485, 174.7633, "Pacific/Auckland", "2024-01-15", ("06:17:14", "20:42:21", "05:47:23", "21:12:08")),
    (21.3099, -157.8581, "Pacific/Honolulu", "2024-07-15", ("05:58:30", "19:16:23", "05:34:07", "19:40:45")),
)


@pytest.mark.parametrize(("latitude", "longitude", "zone", "day", "times"), SEARCHED)
def test_events_come_when_a_search_of_the_exact_elevation_finds_them(
    latitude: float, longitude: float, zone: str, day: str, times: tuple[str, ...]
) -> None:
    where = site(latitude, longitude, zone)
    names: tuple[sun.Event, ...] = ("sunrise", "sunset", "dawn", "dusk")
    for name, at in zip(names, times, strict=True):
        found = event(where, name, date.fromisoformat(day))
        assert isinstance(found, int)
        assert abs(found - instant(f"{day}T{at}", zone)) <= 10_000_000


@pytest.mark.parametrize(
    ("name", "at"),
    [("sunrise", "2003-10-17T06:12:43"), ("noon", "2003-10-17T11:46:05"), ("sunset", "2003-10-16T17:20:19")],
)
def test_the_sun_rises_culminates_and_sets_when_nrel_says(name: sun.Event, at: str) -> None:
    """The worked example's sunrise and sunset; its transit, 11:46:04.97, by pvlib 0.16.1. Within a quarter minute.

    NREL's day is that of UTC: the sunset in it is the local evening before, as a search of pvlib's elevation shows.
    """
    found = event(site(39.742476, -105.1786, "Etc/GMT+7"), name, datetime.fromisoformat(at).date())
    assert isinstance(found, int)
    assert abs(found - instant(f"{at}-07:00")) <= 15_000_000


@pytest.mark.parametrize(("day", "at"), [("2015-01-01", "12:04"), ("2015-01-03", "12:05")])
def test_the_sun_culminates_when_the_naval_observatory_says(day: str, at: str) -> None:
    """Golden, Colorado, to the minute, as quoted in pvlib's tests/test_solarposition.py."""
    found = event(site(39.742476, -105.1786, "Etc/GMT+7"), "noon", date.fromisoformat(day))
    assert isinstance(found, int)
    assert abs(found - instant(f"{day}T{at}-07:00")) <= 60_000_000


def test_the_midnight_sun_stands_as_low_and_as_high_as_the_exact_elevation() -> None:
    """Tromsø, 2024-06-21, by pvlib 0.16.1: from 3.085° to 43.786°."""
    midnight = instant("2024-06-21T00:00", "Europe/Oslo")
    heights = [sun.position(TROMSO, midnight + minute * 60_000_000).elevation for minute in range(1440)]
    assert (min(heights), max(heights)) == pytest.approx((3.085, 43.786), abs=0.02)


@given(PLACES, DATES)
def test_an_event_is_where_the_sun_crosses_its_elevation_or_does_not_happen(where: Site, day: date) -> None:
    noon = solar(where, "noon", day)
    assert isinstance(noon, int)
    for name, elevation in sun.ELEVATIONS.items():
        found = solar(where, name, day)
        if isinstance(found, int):
            assert sun.position(where, found).elevation == pytest.approx(elevation, abs=0.003)
            assert abs(found - noon) <= 43_201_000_000
            assert (found > noon) == (name in ("sunset", "dusk"))
        else:
            assert (sun.position(where, noon).elevation >= elevation) == (found == "above")


@given(st.builds(site, st.floats(-60, 60), LONGITUDES), DATES)
def test_between_the_sixtieth_parallels_every_day_has_all_its_events_in_order(where: Site, day: date) -> None:
    found = [at for at in (solar(where, name, day) for name in EVENTS) if isinstance(at, int)]
    assert len(found) == len(EVENTS)
    assert found == sorted(found)


@given(LONGITUDES, DATES, st.integers(-12 * 3600, 14 * 3600))
def test_each_date_has_one_noon_and_it_falls_on_the_date(longitude: float, day: date, offset_s: int) -> None:
    """Within the 17 minutes by which true and mean solar time differ, and without a date that goes empty."""
    where = site(0, longitude)
    noon, following = (sun.event(where, "noon", on, offset_s) for on in (day, day + timedelta(1)))
    assert isinstance(noon, int)
    assert isinstance(following, int)
    local_second = noon // 1_000_000 + offset_s - (day - date(1970, 1, 1)).days * 86_400
    assert -1020 < local_second < 86_400 + 1020
    assert abs(following - noon - 86_400_000_000) < 60_000_000


# Places with polar day and night, and when their sun keeps to one side of the horizon all day long.
POLAR = (
    TROMSO,
    site(78.2232, 15.6267),
    site(82.5018, -62.3481),
    site(-77.8419, 166.6863),
    site(66.6, 25.7),
    site(89.5, 0),
)


@pytest.mark.parametrize("where", POLAR, ids=lambda where: f"{where.latitude:+.1f}")
@pytest.mark.parametrize("name", sun.ELEVATIONS)
def test_a_polar_season_begins_and_ends_on_the_right_day(where: Site, name: sun.Event) -> None:
    """A year's half days by pvlib 0.16, spa_python; those within 0.02° of grazing may go either way."""
    zone, elevation = ZoneInfo(where.timezone), sun.ELEVATIONS[name]
    days = [date(2025, 1, 1) + timedelta(number) for number in range(365)]
    noons = [sun.event(where, "noon", day, noon_offset(zone, day)) for day in days]
    half_day = np.arange(0, 43_201, 720) * (1 if name in ("sunset", "dusk") else -1)
    seconds = (np.array(noons, dtype=np.int64)[:, None] // 1_000_000 + half_day).ravel()
    times = pd.DatetimeIndex(seconds.astype("datetime64[s]"), tz="UTC")
    heights = pvlib.solarposition.spa_python(times, where.latitude, where.longitude)["elevation"].to_numpy()
    for day, height in zip(days, heights.reshape(len(days), -1), strict=True):
        highest, lowest = height.max(), height.min()
        if min(abs(highest - elevation), abs(lowest - elevation)) > 0.02:
            expected = "below" if highest < elevation else "above" if lowest > elevation else "crosses"
            found = event(where, name, day)
            assert (found if isinstance(found, str) else "crosses") == expected, day


def test_the_last_sunset_before_the_midnight_sun_falls_on_the_next_date() -> None:
    """Tromsø in May: day by day the sun sets later, at last after midnight, then not at all."""
    sunsets = [event(TROMSO, "sunset", date(2025, 5, 1) + timedelta(number)) for number in range(31)]
    times = [at for at in sunsets if isinstance(at, int)]
    assert times == sorted(times)
    assert sunsets == times + ["above"] * (31 - len(times))
    assert local(ZoneInfo("Europe/Oslo"), times[-1]).date() == date(2025, 5, 1) + timedelta(len(times))


def test_the_sun_neither_rises_nor_sets_in_polar_night_and_day() -> None:
    assert event(TROMSO, "sunrise", date(2024, 12, 21)) == "below"
    assert isinstance(event(TROMSO, "dawn", date(2024, 12, 21)), int)
    assert {event(TROMSO, name, date(2024, 6, 21)) for name in sun.ELEVATIONS} == {"above"}


def test_a_zone_fourteen_hours_ahead_has_its_own_day() -> None:
    """Kiritimati lies 157° west and fourteen hours ahead: its sun rises and sets on the zone's date."""
    kiritimati = site(1.87, -157.43, "Pacific/Kiritimati")
    hours: dict[sun.Event, int] = {"sunrise": 6, "noon": 12, "sunset": 18}
    for name, hour in hours.items():
        at = event(kiritimati, name, date(2026, 7, 1))
        assert isinstance(at, int)
        on_the_clock = local(ZoneInfo("Pacific/Kiritimati"), at)
        assert (on_the_clock.date(), on_the_clock.hour) == (date(2026, 7, 1), hour)
