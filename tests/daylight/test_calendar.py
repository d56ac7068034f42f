"""Day parts: which holds, since when, and what comes next, wherever and whenever."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from places import GLASGOW, TROMSO, ZONES, building, clock, instant, part, site, with_sun

from leerie.config.building import Site
from leerie.daylight import civil
from leerie.daylight.calendar import Calendar, Holding
from leerie.daylight.sun import Event

DAY_US = 86_400_000_000
WORKDAYS = ("workday",)
WORKSHOP = (
    part("morning", clock("06:30", "workday"), clock("08:30")),
    part("working", clock("08:30", "workday")),
    part("evening", with_sun("sunset", -1800), earliest="16:00", latest="20:30"),
    part("late", clock("21:30")),
    part("night", clock("23:15")),
)
ALL = tuple(part.name for part in WORKSHOP)


def workshop(where: Site = GLASGOW) -> Calendar:
    return Calendar(building(where, WORKSHOP))


def starts(calendar: Calendar, day: str, zone: str = "Europe/London") -> list[tuple[str, str]]:
    """The parts that start on a date and their times on the zone's clocks."""
    found = calendar.starts(date.fromisoformat(day))
    return [(start.part, f"{civil.local(ZoneInfo(zone), start.at):%m-%d %H:%M}") for start in found]


def holding(calendar: Calendar, at: str, *parts: str, zone: str = "Europe/London") -> str | None:
    return calendar.holding(parts or ALL, instant(at, zone)).part


# ---- days ------------------------------------------------------------------------------------------------------------


def test_a_workday_starts_its_parts_in_order() -> None:
    """In Glasgow on Monday 2 March 2026 the sun sets at 17:53:20 (a search of pvlib 0.16.1's spa_python)."""
    assert starts(workshop(), "2026-03-02") == [
        ("morning", "03-02 06:30"),
        ("working", "03-02 08:30"),
        ("evening", "03-02 17:23"),
        ("late", "03-02 21:30"),
        ("night", "03-02 23:15"),
    ]


@pytest.mark.parametrize(
    ("day", "why"),
    [
        ("2026-02-28", "a Saturday"),
        ("2026-11-30", "St Andrew's Day, a Monday"),
        ("2026-07-20", "a day off in a stretch"),
        ("2026-07-31", "the last of the stretch"),
        ("2026-12-24", "a single day off"),
        ("2026-12-28", "Boxing Day's substitute"),
    ],
)
def test_a_day_without_work_starts_late_and_has_no_working_part(day: str, why: str) -> None:
    """Scottish bank holidays by the holidays library, 0.70 and later."""
    stretches = ((date(2026, 7, 17), date(2026, 7, 31)), (date(2026, 12, 24), date(2026, 12, 24)))
    calendar = workshop(site(55.8569, -4.2448, "Europe/London", "GB-SCT", stretches))
    assert starts(calendar, day)[0][1].endswith("08:30"), why
    assert "working" not in dict(starts(calendar, day)), why


def test_a_holiday_in_one_country_is_a_workday_in_another() -> None:
    scotland = workshop(site(55.8569, -4.2448, "Europe/London", "GB-SCT"))
    england = workshop(site(51.5, -0.1, "Europe/London", "GB-ENG"))
    assert "working" not in dict(starts(scotland, "2026-11-30"))
    assert "working" in dict(starts(england, "2026-11-30"))


def test_days_are_a_union() -> None:
    calendar = Calendar(building(site(0, 0, holidays="GB"), [part("one", clock("08:00", "sat", "wed", "holiday"))]))
    days = [date(2025, 12, 22) + timedelta(number) for number in range(8)]
    assert [f"{day:%a %d}" for day in days if calendar.starts(day)] == ["Wed 24", "Thu 25", "Fri 26", "Sat 27"]


def test_the_workweek_is_the_sites_own() -> None:
    sunday_to_thursday = site(31.5, 34.5, "Asia/Gaza", workweek=(6, 0, 1, 2, 3))
    calendar = Calendar(building(sunday_to_thursday, [part("working", clock("08:00", *WORKDAYS))]))
    week = [date(2026, 3, 1) + timedelta(number) for number in range(7)]
    assert [f"{day:%a}" for day in week if calendar.starts(day)] == ["Sun", "Mon", "Tue", "Wed", "Thu"]


def test_the_first_start_that_fits_the_day_counts() -> None:
    calendar = Calendar(building(GLASGOW, [part("one", clock("06:00", "mon"), with_sun("noon", 0, "mon", "tue"))]))
    assert starts(calendar, "2026-03-02") == [("one", "03-02 06:00")]
    assert starts(calendar, "2026-03-03") == [("one", "03-03 12:28")]
    assert starts(calendar, "2026-03-04") == []


# ---- what holds ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ("2026-03-02T00:00", "night"),
        ("2026-03-02T06:29:59", "night"),
        ("2026-03-02T06:30", "morning"),
        ("2026-03-02T08:30", "working"),
        ("2026-03-02T17:30", "evening"),
        ("2026-03-02T23:14:59", "late"),
        ("2026-03-02T23:15", "night"),
        ("2026-03-07T08:00", "night"),
        ("2026-03-07T08:30", "morning"),
    ],
)
def test_the_part_that_began_last_holds(at: str, expected: str) -> None:
    assert holding(workshop(), at) == expected


def test_a_room_follows_only_the_parts_it_names() -> None:
    calendar = workshop()
    assert holding(calendar, "2026-03-02T12:00", "night") == "night"
    assert holding(calendar, "2026-03-02T12:00", "morning", "night") == "morning"
    assert holding(calendar, "2026-03-08T23:59", "working", "morning") == "morning"
    assert holding(calendar, "2026-03-08T07:00", "working") == "working"
    assert replace(calendar.holding((), instant("2026-03-02T12:00")), before=()) == Holding(None, None, None)


def test_of_two_that_start_together_the_later_in_the_file_holds() -> None:
    together = [part(name, clock("08:30")) for name in ("one", "two", "three")]
    calendar = Calendar(building(GLASGOW, together))
    for parts in (("one", "two", "three"), ("three", "one", "two")):
        assert holding(calendar, "2026-03-02T09:00", *parts) == "three"
    assert holding(calendar, "2026-03-02T09:00", "two", "one") == "two"
    assert calendar.holding(("one", "two", "three"), instant("2026-03-02T09:00")).earlier == ("two", "one")


def test_what_holds_says_when_it_began_and_what_comes_next() -> None:
    held = workshop().holding(ALL, instant("2026-03-03T03:00"))
    assert (held.part, held.began, held.next) == ("night", instant("2026-03-02T23:15"), instant("2026-03-03T06:30"))


def test_the_other_parts_stand_in_the_order_in_which_they_began_last() -> None:
    """On a Saturday morning; a part that has not begun for a week comes at the end."""
    assert workshop().holding(ALL, instant("2026-03-07T09:00")).earlier == ("night", "late", "evening", "working")
    rare = building(site(0, 0, holidays="GB"), [part("holiday", clock("08:00", "holiday")), *WORKSHOP])
    held = Calendar(rare).holding(("holiday", "night", "late"), instant("2026-03-07T22:00"))
    assert (held.part, held.earlier) == ("late", ("night", "holiday"))


def test_the_next_start_may_be_of_the_same_part() -> None:
    held = workshop().holding(("late",), instant("2026-03-02T22:00"))
    assert replace(held, before=()) == Holding("late", instant("2026-03-02T21:30"), instant("2026-03-03T21:30"))


def test_a_weekly_part_holds_all_week_even_over_a_change_of_clocks() -> None:
    """From Monday 19 October to Monday 26 October 2026 is a week and an hour."""
    calendar = Calendar(building(GLASGOW, [part("monday", clock("08:00", "mon"))]))
    began, again = instant("2026-10-19T08:00", "Europe/London"), instant("2026-10-26T08:00", "Europe/London")
    assert again - began > 7 * DAY_US
    assert replace(calendar.holding(("monday",), again - 1), before=()) == Holding("monday", began, again)
    assert calendar.holding(("monday",), again).began == again


def test_a_part_that_has_not_begun_for_more_than_a_week_holds_no_longer() -> None:
    calendar = Calendar(building(site(0, 0, holidays="GB"), [part("holiday", clock("08:00", "holiday"))]))
    boxing_day = instant("2025-12-26T08:00")
    held = calendar.holding(("holiday",), boxing_day)
    assert replace(held, before=()) == Holding("holiday", boxing_day, instant("2026-01-01T08:00"))
    new_year = instant("2026-01-01T08:00")
    runs_out = calendar.holding(("holiday",), new_year).next
    assert runs_out is not None
    assert 7 * DAY_US < runs_out - new_year < 8 * DAY_US
    assert calendar.holding(("holiday",), runs_out - 1).part == "holiday"
    assert replace(calendar.holding(("holiday",), runs_out), before=()) == Holding(None, None, None, ("holiday",))


def test_before_its_first_start_in_a_week_no_part_holds_but_the_next_is_known() -> None:
    calendar = Calendar(building(site(0, 0, holidays="GB"), [part("holiday", clock("08:00", "holiday"))]))
    assert replace(calendar.holding(("holiday",), instant("2025-12-20T08:00")), before=()) == Holding(
        None, None, instant("2025-12-25T08:00"), ("holiday",)
    )


def test_the_wall_clock_may_step_either_way() -> None:
    calendar = workshop()
    order = ("2026-03-02T12:00", "2026-03-02T05:00", "2026-03-05T18:00", "2025-01-04T12:00", "2026-03-02T12:00")
    assert [holding(calendar, at) for at in order] == ["working", "night", "evening", "morning", "working"]


# ---- the sun and its bounds ------------------------------------------------------------------------------------------


def test_bounds_hold_a_sun_event() -> None:
    """In Glasgow the sun sets at 22:06:20 on one day and at 15:44:26 on the other (pvlib 0.16.1, spa_python)."""
    assert ("evening", "06-21 20:30") in starts(workshop(), "2026-06-21")
    assert ("evening", "12-21 16:00") in starts(workshop(), "2026-12-21")


def test_bounds_hold_a_time_on_the_clock_too() -> None:
    calendar = Calendar(
        building(GLASGOW, [part("one", clock("06:00", "sat"), clock("09:00"), earliest="07:00", latest="08:00")])
    )
    assert starts(calendar, "2026-03-06") == [("one", "03-06 08:00")]
    assert starts(calendar, "2026-03-07") == [("one", "03-07 07:00")]


WINTER, SUMMER = "2025-12-21", "2025-06-21"


@pytest.mark.parametrize(
    ("event", "day", "earliest", "latest", "expected"),
    [
        ("sunset", WINTER, "15:00", "21:00", "15:00"),
        ("dusk", SUMMER, "15:00", "21:00", "21:00"),
        ("sunset", SUMMER, "15:00", "21:00", "21:00"),
        ("sunrise", WINTER, "06:00", "09:00", "09:00"),
        ("sunrise", SUMMER, "06:00", "09:00", "06:00"),
        ("dawn", SUMMER, "06:00", "09:00", "06:00"),
        ("sunset", WINTER, None, "21:00", "21:00"),
        ("sunset", SUMMER, "15:00", None, "15:00"),
        ("sunrise", WINTER, "06:00", None, "06:00"),
        ("sunrise", SUMMER, None, "09:00", "09:00"),
        ("sunset", WINTER, None, None, None),
        ("sunrise", SUMMER, None, None, None),
    ],
)
def test_where_an_event_does_not_happen_its_bounds_stand_in(
    event: Event, day: str, earliest: str | None, latest: str | None, expected: str | None
) -> None:
    """Tromsø in polar night and under the midnight sun; an offset from what does not happen is none."""
    calendar = Calendar(building(TROMSO, [part("one", with_sun(event, 5400), earliest=earliest, latest=latest)]))
    found = [at.split()[1] for _, at in starts(calendar, day, "Europe/Oslo")]
    assert found == ([] if expected is None else [expected])


def test_a_dusk_after_midnight_belongs_to_the_date_before() -> None:
    """Reykjavík's clocks are ahead of its sun: on 14 May 2026 dusk falls at 00:16:23 (pvlib 0.16.1, spa_python)."""
    reykjavik = site(64.15, -21.94, "Atlantic/Reykjavik")
    calendar = Calendar(building(reykjavik, [part("dusk", with_sun("dusk")), part("small_hours", clock("00:20"))]))
    assert starts(calendar, "2026-05-14", "Atlantic/Reykjavik") == [
        ("small_hours", "05-14 00:20"),
        ("dusk", "05-15 00:16"),
    ]
    assert holding(calendar, "2026-05-15T00:17", "dusk", "small_hours", zone="Atlantic/Reykjavik") == "dusk"
    assert holding(calendar, "2026-05-15T00:20", "dusk", "small_hours", zone="Atlantic/Reykjavik") == "small_hours"


# ---- clocks ----------------------------------------------------------------------------------------------------------


def test_a_start_in_the_skipped_hour_is_when_the_clocks_jump() -> None:
    calendar = Calendar(building(GLASGOW, [part("small_hours", clock("01:30")), part("night", clock("23:15"))]))
    jump = instant("2026-03-29T01:00+00:00")
    assert holding(calendar, "2026-03-29T00:59:59+00:00", "small_hours", "night") == "night"
    assert calendar.holding(("small_hours", "night"), jump).began == jump


def test_a_start_in_the_repeated_hour_comes_once_and_the_first_time() -> None:
    calendar = Calendar(building(GLASGOW, [part("small_hours", clock("01:30")), part("night", clock("23:15"))]))
    began = instant("2026-10-25T00:30+00:00")
    second_time = instant("2026-10-25T01:30+00:00")
    held = calendar.holding(("small_hours", "night"), second_time)
    assert replace(held, before=()) == Holding("small_hours", began, instant("2026-10-25T23:15+00:00"), ("night",))


def test_fourteen_hours_ahead_the_zones_own_date_counts() -> None:
    """On Kiritimati the sun sets at 04:44:16 UTC that day (pvlib 0.16.1, spa_python)."""
    kiritimati = site(1.87, -157.43, "Pacific/Kiritimati")
    calendar = Calendar(
        building(kiritimati, [part("evening", with_sun("sunset")), part("monday", clock("07:00", "mon"))])
    )
    assert starts(calendar, "2026-03-02", "Pacific/Kiritimati") == [
        ("monday", "03-02 07:00"),
        ("evening", "03-02 18:44"),
    ]
    assert holding(calendar, "2026-03-01T17:30+00:00", "evening", "monday") == "monday"


def test_on_a_date_that_was_left_out_nothing_starts() -> None:
    """Samoa had no 30 December 2011: the evening before holds until the morning after."""
    apia = site(-13.83, -171.77, "Pacific/Apia")
    calendar = Calendar(building(apia, [part("day", clock("07:00")), part("evening", clock("19:00"))]))
    assert starts(calendar, "2011-12-30", "Pacific/Apia") == []
    held = calendar.holding(("day", "evening"), instant("2011-12-31T03:00", "Pacific/Apia"))
    assert held.part == "evening"
    assert held.next == instant("2011-12-31T07:00", "Pacific/Apia")


# ---- everywhere, always ----------------------------------------------------------------------------------------------

DAILY = (part("day", clock("02:30")), part("evening", with_sun("dusk", -900), earliest="15:30"))
NAMES = tuple(part.name for part in DAILY)
TEN_YEARS = (instant("2025-01-01T00:00"), instant("2035-01-01T00:00"))


@pytest.mark.parametrize("place", range(len(ZONES)), ids=ZONES)
def test_for_ten_years_exactly_one_part_holds_at_every_moment(place: int) -> None:
    """Each holding reaches to the next without gap or overlap, and no day is without its starts.

    Thirty zones, at latitudes from 87° south to 87° north, polar days and nights among them.
    """
    calendar = Calendar(building(site(6 * place - 87, 0, ZONES[place]), DAILY))
    at, end = TEN_YEARS
    held = calendar.holding(NAMES, at)
    while held.next is not None and held.next < end:
        following = calendar.holding(NAMES, held.next)
        assert following.part in NAMES
        assert following.began == held.next
        assert following.next is not None
        assert 0 < following.next - held.next <= 28 * 3_600_000_000
        held = following
    assert held.next is not None


@given(
    st.sampled_from(ZONES),
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.lists(st.integers(*TEN_YEARS), min_size=2, max_size=6),
)
def test_what_holds_does_not_depend_on_what_was_asked_before(
    zone: str, latitude: float, longitude: float, moments: list[int]
) -> None:
    where = building(site(latitude, longitude, zone), DAILY)
    used = Calendar(where)
    for at in moments:
        held = used.holding(NAMES, at)
        assert held == Calendar(where).holding(NAMES, at)
        assert held.began is not None
        assert held.next is not None
        assert held.began <= at < held.next
        assert used.holding(NAMES, held.next - 1) == held
