"""What the coming year holds that is legal but suspicious, each provoked by an invented config."""

import re
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pvlib
import pytest
from hut import HUT

from leerie.ahead import Year, suspicions
from leerie.ahead.dates import folded
from leerie.config import load
from leerie.config.problems import dotted

FIRST = date(2026, 3, 2)
NORTH = HUT.replace("55.86", "69.65").replace("-4.24", "18.96").replace("London", "Oslo")
"""Near Tromsø, where the sun stays up in summer and down in winter."""

EVENING = "day_parts.evening.starts:"

Warnings = Callable[..., list[str]]


@pytest.fixture
def warned(tmp_path: Path) -> Warnings:
    """What is said of the year that begins on a date."""

    def warned(text: str, first: date = FIRST) -> list[str]:
        path = tmp_path / "leerie.toml"
        path.write_text(text, encoding="utf-8")
        found = suspicions(Year(load(path, {}).building, first))
        return [f"{dotted(flaw.path)}: {flaw.problem}; {flaw.allowed}" for flaw in found]

    return warned


def only(said: list[str], start: str) -> str:
    """The one that starts so."""
    [found] = [each for each in said if each.startswith(start)]
    return found


def ranges(text: str) -> list[tuple[date, date]]:
    found = re.findall(r"(\d{4}-\d\d-\d\d)(?: to (\d{4}-\d\d-\d\d))?", text)
    return [(date.fromisoformat(first), date.fromisoformat(last or first)) for first, last in found]


def test_a_usual_house_is_above_suspicion(warned: Warnings) -> None:
    assert warned(HUT) == []


def test_a_part_that_does_not_start(warned: Warnings) -> None:
    """The dates are those on which the sun's disk stays wholly below or above the horizon, by NREL's Solar Position
    Algorithm (pvlib), but for a day at either end.
    """
    said = warned(NORTH.replace('starts = "18:00"', 'starts = "sunset"'))
    text = only(said, f"{EVENING} does not start ")
    assert text.endswith("when the sun does not get there; earliest or latest says when instead")
    dates = {first + timedelta(n) for first, last in ranges(text) for n in range((last - first).days + 1)}
    assert "more time" not in text
    times = pd.date_range("2026-03-01", "2027-03-03", freq="10min", tz="Europe/Oslo")
    elevation = pvlib.solarposition.get_solarposition(times, 69.65, 18.96)["elevation"]
    daily = elevation.groupby(times.date)
    stays = (daily.max() < -0.8333) | (daily.min() > -0.8333)
    known = {day for day, always in stays.items() if always and FIRST <= day < FIRST + timedelta(365)}
    assert len(known) > 90
    assert all(min(abs((day - other).days) for other in known) <= 1 for day in dates)
    assert all(min(abs((day - other).days) for other in dates) <= 1 for day in known)


@pytest.mark.parametrize("bound", ["earliest", "latest"])
def test_a_bound_starts_the_part_all_the_same(warned: Warnings, bound: str) -> None:
    starts = f'starts = "sunset", {bound} = "18:00"'
    assert not any("does not start" in each for each in warned(NORTH.replace('starts = "18:00"', starts)))


def test_only_days_that_are_meant_are_missed(warned: Warnings) -> None:
    said = warned(NORTH.replace('starts = "18:00"', 'starts = [{ at = "sunset", days = ["sun"] }]'))
    found = ranges(only(said, f"{EVENING} does not start "))
    assert found
    assert {first.weekday() for first, _ in found} == {6}


def test_a_part_whose_days_never_come(warned: Warnings) -> None:
    text = HUT.replace('days_off = ["2026-04-06"]', "").replace('"18:00"', '"18:00", days = ["holiday"]')
    said = warned(text)
    assert f"{EVENING} does not start on any day of the coming year; days that come" in said


def test_two_parts_change_order(warned: Warnings) -> None:
    said = warned(HUT.replace('starts = "18:00"', 'starts = "dusk"').replace('"23:00"', '"22:30"'))
    text = only(said, f"{EVENING} starts after night, not before it, from 2026-0")
    assert text.endswith("; in hut; earliest and latest keep two parts in order")
    [(first, last)] = ranges(text)
    assert first < date(2026, 6, 21) < last
    assert (last - first).days < 90


def test_order_is_lost_to_the_next_days_part_too(warned: Warnings) -> None:
    """In midsummer dusk comes later than the ten past midnight that usually follows it."""
    text = HUT.replace("55.86", "59.9").replace("-4.24", "-1.3").replace('"18:00"', '"dusk"')
    said = warned(text.replace('"23:00"', '"00:10"'))
    [(first, last)] = ranges(only(said, f"{EVENING} starts "))
    assert first < date(2026, 6, 21) < last


def test_order_does_not_matter_to_rooms_that_do_not_share_the_parts(warned: Warnings) -> None:
    text = HUT.replace('starts = "18:00"', 'starts = "dusk"').replace('"23:00"', '"22:30"')
    assert not any(each.startswith(EVENING) for each in warned(text.replace("night = {}\n", "")))


def test_the_dark_runs_on(warned: Warnings) -> None:
    text = HUT.replace(
        '[{ at = "07:00", days = ["workday"] }, { at = "09:00" }]', '[{ at = "07:00", days = ["workday"] }]'
    )
    said = warned(text)
    assert said == [
        "rooms.hut.scenes.night: is dark and runs on past 10:00 from 2026-03-07 to 2026-03-08, "
        "from 2026-03-14 to 2026-03-15, from 2026-03-21 to 2026-03-22 and 49 more times; "
        "a part that starts on those days ends it"
    ]


@pytest.mark.parametrize(
    "text",
    [
        HUT.replace('sensors = ["pir"]\nkeep = ["radar"]', ""),
        HUT.replace("day = { bench = { follow = [0.5, 1], kelvin = { sun = [3000, 5000] } }, sign = 1 }", "day = {}"),
    ],
    ids=["without sensors", "by day"],
)
def test_what_is_dark_by_day_and_meant_so(warned: Warnings, text: str) -> None:
    late = text.replace('{ at = "09:00" }', '{ at = "09:30" }').replace('at = "07:00"', 'at = "09:00"')
    assert warned(late) == []


def test_the_light_runs_on(warned: Warnings) -> None:
    text = HUT.replace("night = {}\n", "").replace(', { at = "09:00" }', "")
    said = warned(text)
    assert said == [
        "rooms.hut.scenes.evening: is lit and runs on past 24 h, for up to 85 h, where it begins on "
        "2026-02-27, on 2026-03-06, on 2026-03-13 and 50 more times; a part that starts in between ends it"
    ]


def test_a_room_of_one_part_alone_is_not_lit_too_long(warned: Warnings) -> None:
    text = HUT.replace("night = {}\n", "").replace("evening = { bench = 0.5 }\n", "")
    assert warned(text.replace('bed = "night"\n', "")) == []


def test_bright_before_bed(warned: Warnings) -> None:
    """40 lx on the task at full, half of it at the eye: 20 lx · 0.4616 (melanopic DER of 2700 K)."""
    assert warned(HUT.replace("evening = { bench = 0.5 }", "evening = { bench = 1 }")) == []
    said = warned(HUT.replace("evening = { bench = 0.5 }", "evening = { bench = 1 }").replace("= 1000", "= 2000"))
    assert said == [
        "rooms.hut.scenes.evening: brings melanopic EDI of about 18 lx (15–22) in the three hours before bed; "
        "10 lx at most: Brown et al. 2022; an estimate, first on 2026-03-02"
    ]


@pytest.mark.parametrize(
    ("starts", "blend", "edi"),
    [("20:00", "1h", "53"), ("19:15", "3h", "32"), ("18:00", "2h", None), ("20:00", "5m", None)],
)
def test_the_way_out_of_a_bright_part_counts(warned: Warnings, starts: str, blend: str, edi: str | None) -> None:
    """100 lx at the eye at full and 52.63 of that melanopic (3000 K). Three hours before bed, at 20:00, none or a
    quarter of the way to level 0.1 is done, 0.775² of the light is left; or all of the way. A switch is off at
    once; minutes do not count.
    """
    text = re.sub("^day = .*$", "day = { bench = 1, sign = 1 }", HUT, flags=re.MULTILINE).replace("= 1000", "= 5000")
    text = text.replace("evening = { bench = 0.5 }", "evening = { bench = 0.1 }")
    text = text.replace('starts = "18:00", kelvin = 2700', f'starts = "{starts}", blend = "{blend}"')
    said = [each.partition(" lx")[0] for each in warned(text)]
    line = f"rooms.hut.scenes.evening: brings, on the way from day, melanopic EDI of about {edi}"
    assert said == ([] if edi is None else [line])


@pytest.mark.parametrize(
    ("lumens", "told"), [(1095, "10.1 lx (8.1–12.1)"), (1084, "10.01 lx (8.01–12.01)"), (1083, None)]
)
def test_a_figure_just_over_the_bound_reads_as_over_it(warned: Warnings, lumens: int, told: str | None) -> None:
    """By the lumen method lumens · 0.5 · 0.8 / 10 m² on the task, half of it at the eye, 0.4616 of that melanopic."""
    text = HUT.replace("evening = { bench = 0.5 }", "evening = { bench = 1 }").replace("= 1000", f"= {lumens}")
    said = [re.findall(r"about (.*) in the three", each)[0] for each in warned(text)]
    assert said == ([] if told is None else [told])


def test_brightness_of_day_counts_where_it_reaches_into_the_evening(warned: Warnings) -> None:
    """From when the sun sets after 20:00, three hours before bed, by NREL's Solar Position Algorithm (pvlib)."""
    days = pd.date_range("2026-03-02", "2026-06-21", tz="Europe/London")
    sets = pvlib.solarposition.sun_rise_set_transit_spa(days, 55.86, -4.24)["sunset"]
    late = next(moment.date() for moment in sets if moment.hour >= 20)
    said = only(warned(HUT.replace('starts = "18:00"', 'starts = "sunset"')), "rooms.hut.scenes.day: brings ")
    [(first, _)] = ranges(said)
    assert abs(first - late) <= timedelta(1)


def test_dates_fold() -> None:
    days = [date(2026, 12, 30) + timedelta(n) for n in (0, 1, 2, 4, 6, 7)]
    assert folded(days) == "from 2026-12-30 to 2027-01-01, on 2027-01-03, from 2027-01-05 to 2027-01-06"
    assert folded([*days, date(2027, 2, 1)]).endswith("2027-01-06 and 1 more time")
    assert folded(days[:1]) == "on 2026-12-30"


@pytest.mark.parametrize("place", [("90", "0"), ("-90", "180"), ("0", "-180")])
@pytest.mark.parametrize("event", ["dawn", "sunrise", "noon", "sunset - 12h", "dusk + 12h"])
def test_no_place_and_no_event_is_too_far(warned: Warnings, place: tuple[str, str], event: str) -> None:
    """What is said is said of dates in the year, or of the running stretch that began before it."""
    latitude, longitude = place
    text = HUT.replace("55.86", latitude).replace("-4.24", longitude).replace('starts = "18:00"', f'starts = "{event}"')
    dates = [day for each in warned(text) for pair in ranges(each) for day in pair]
    assert all(FIRST - timedelta(9) <= day < FIRST + timedelta(365) for day in dates)
