"""Civil time over skipped and repeated hours, in zones as far apart as there are."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import ZONES, instant

from leerie.daylight import civil


@pytest.mark.parametrize(
    ("zone", "day", "time", "expected"),
    [
        ("Europe/London", "2026-03-29", "00:59", "2026-03-29T00:59+00:00"),
        ("Europe/London", "2026-03-29", "01:00", "2026-03-29T01:00+00:00"),
        ("Europe/London", "2026-03-29", "01:30", "2026-03-29T01:00+00:00"),
        ("Europe/London", "2026-03-29", "02:00", "2026-03-29T01:00+00:00"),
        ("Europe/London", "2026-03-29", "02:01", "2026-03-29T01:01+00:00"),
        ("Europe/London", "2026-10-25", "01:30", "2026-10-25T00:30+00:00"),
        ("Europe/London", "2026-10-25", "02:00", "2026-10-25T02:00+00:00"),
        ("Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30+00:00"),
        ("Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45+00:00"),
        ("America/Nuuk", "2026-03-28", "23:30", "2026-03-29T01:00+00:00"),
        ("Africa/Cairo", "2026-04-24", "00:30", "2026-04-23T22:00+00:00"),
        ("Pacific/Kiritimati", "2026-07-01", "06:00", "2026-06-30T16:00+00:00"),
        ("Pacific/Apia", "2011-12-30", "12:00", "2011-12-30T10:00+00:00"),
    ],
)
def test_a_time_in_a_skipped_hour_is_the_jump_and_in_a_repeated_hour_the_first(
    zone: str, day: str, time: str, expected: str
) -> None:
    """IANA time zone database, 2025b and later: Lord Howe moves by half an hour, Nuuk and Cairo around midnight."""
    hours, minutes = time.split(":")
    found = civil.moment(ZoneInfo(zone), date.fromisoformat(day), int(hours) * 3600 + int(minutes) * 60)
    assert found == instant(expected)


@given(st.sampled_from(ZONES), st.dates(date(1980, 1, 1), date(2037, 12, 31)), st.integers(0, 86_399))
def test_a_moment_is_the_first_at_which_the_clocks_show_the_time_or_have_passed_it(
    name: str, day: date, second: int
) -> None:
    zone = ZoneInfo(name)
    moment = civil.moment(zone, day, second)
    wanted = second + (day - date(1970, 1, 1)).days * 86_400
    shown, shown_before = (_shown(zone, at) for at in (moment, moment - 1_000_000))
    assert shown >= wanted
    assert shown_before < wanted
    assert civil.local(zone, moment).fold == 0


def _shown(zone: ZoneInfo, wall: int) -> int:
    """What the clocks show, as seconds since 1970 on those same clocks."""
    shown = civil.local(zone, wall).replace(tzinfo=UTC, fold=0)
    return (shown - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)


def test_a_date_that_a_zone_left_out_is_no_date_there() -> None:
    """Samoa crossed the date line at the end of 29 December 2011."""
    apia = ZoneInfo("Pacific/Apia")
    assert [civil.skipped(apia, date(2011, 12, day)) for day in (29, 30, 31)] == [False, True, False]
    assert not civil.skipped(ZoneInfo("Europe/London"), date(2026, 3, 29))
