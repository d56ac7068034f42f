"""A room's days in clock times."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta, tzinfo

from leerie.ahead import Stretch, Year
from leerie.ahead.year import WEEK
from leerie.config.building import Room
from leerie.daylight.civil import local


def week(year: Year, room: Room) -> Iterator[tuple[str, list[str]]]:
    """The days that are shown, equal ones together: which they are, and the stretches of each."""
    for days, stretches in year.week(room).items():
        yield _days(year, days), [stretch(each, year.zone) for each in stretches]


def _days(year: Year, days: Sequence[date]) -> str:
    """Mon–Thu, Sat (holiday), 2026-12-25 (holiday)"""
    ranges: list[list[date]] = []
    for day in days:
        if ranges and _ordinary(year, ranges[-1][-1]) and _ordinary(year, day) and day - ranges[-1][-1] == timedelta(1):
            ranges[-1].append(day)
        else:
            ranges.append([day])
    return ", ".join("–".join(dict.fromkeys(_name(year, day) for day in (each[0], each[-1]))) for each in ranges)


def _ordinary(year: Year, day: date) -> bool:
    return not year.almanac.is_holiday(day)


def _name(year: Year, day: date) -> str:
    """Its weekday within the week to come, its date later."""
    name = f"{day:%a}" if day in year.days[:WEEK] else str(day)
    return name if _ordinary(year, day) else f"{name} (holiday)"


def stretch(found: Stretch, zone: tzinfo) -> str:
    """What holds from when to when, as in night 00:00–06:30."""
    return f"{found.part or 'no part'} {'–'.join(clocks(found, zone))}"


def clocks(found: Stretch, zone: tzinfo) -> tuple[str, str]:
    """What clocks show when it begins and when it ends; at the end of the day 24:00."""
    began, ends = (f"{local(zone, at):%H:%M}" for at in (found.began, found.ends))
    return began, "24:00" if ends == "00:00" else ends
