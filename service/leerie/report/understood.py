"""What a config was understood to say: the day, sensors, lamps, and each room's week and scenes, for a page of text."""

import re
import textwrap
from collections.abc import Iterable, Iterator

from leerie import eye
from leerie.ahead import Year
from leerie.config.building import Fixture, Room, Sensor
from leerie.config.problems import printable
from leerie.config.scenes import Scene
from leerie.daylight.civil import local
from leerie.report import scene
from leerie.report.week import week

WIDTH = 80
NAME = 16
"""Columns for names; a longer one has a line of its own."""
_NO_BREAK = "\N{NO-BREAK SPACE}"


def page(year: Year) -> Iterator[str]:
    """Lines of at most 80 columns, unless a name is longer; the last one is empty."""
    site, today = year.building.site, year.days[0]
    yield printable(f"{site.name}, {today:%A} {today}, {site.timezone}")
    yield ""
    yield from _day(year)
    sensors, fixtures = year.building.sensors, year.building.fixtures
    yield from _table("Sensors", ((name, _sensor(year, sensor)) for name, sensor in sensors.items()))
    yield from _table("Lamps", ((name, _lamp(lamp)) for name, lamp in fixtures.items()))
    for room in year.building.rooms.values():
        yield from _room(year, room)
    if any(any(scene.melanopic(year, room)) for room in year.building.rooms.values()):
        yield from _footnote()


def _day(year: Year) -> Iterator[str]:
    today = year.days[0]
    rows = []
    for start in year.begins(today):
        at = local(year.zone, start.at)
        rows.append((start.part, [f"{at:%H:%M}" if at.date() == today else f"since {at:%Y-%m-%d %H:%M}"]))
    yield from _table("Day parts", rows)
    holiday = year.next_holiday
    told = f"{holiday:%A} {holiday}" if holiday is not None else "none within a year"
    if year.building.site.holidays is None and not year.building.site.days_off:
        told = "no holidays configured"
    yield f"Next holiday: {told}"
    yield ""


def _sensor(year: Year, sensor: Sensor) -> list[str]:
    rooms = [room.name for room in year.building.rooms.values() if sensor.name in room.sensors]
    return [sensor.kind, f"topic {sensor.topic}", f"in {', '.join(rooms)}" if rooms else "in no room"]


def _lamp(lamp: Fixture) -> list[str]:
    if lamp.kind == "switched":
        return [lamp.kind]
    low, high = lamp.trim
    curve = f"{lamp.curve} curve" if lamp.response is None else "measured response"
    told = [lamp.kind, curve, f"trim {low:.2f}–{high:.2f}"]
    if lamp.kelvin is not None:
        warm, cool = lamp.kelvin
        told.append(f"{warm} K" if warm == cool else f"{warm}–{cool} K")
    return told


# ---- rooms -----------------------------------------------------------------------------------------------------------


def _room(year: Year, room: Room) -> Iterator[str]:
    rules = room.rules
    yield f"Room {room.name}"
    sensors = [*rules.sensors, *(f"{name} (only keeps light)" for name in rules.keep)]
    yield from _row("sensors", 1, sensors or ["none"])
    yield from _row("lamps", 1, room.fixtures or ["none"])
    yield "  week"
    for days, stretches in week(year, room):
        yield from _row(days, 2, stretches)
    yield "  scenes"
    for name, lights in _scenes(room).items():
        for place, lamp in enumerate(scene.lamps(year.building, lights)):
            yield from _row("" if place else name, 2, [lamp])
    yield from _eye(year, room)
    yield ""


def _scenes(room: Room) -> dict[str, Scene]:
    """Those of day parts, and what stands beside them: nobody there, everywhere or in one part, and light asked for."""
    scenes = {**room.scenes, "vacant": room.rules.vacant}
    scenes |= {
        f"vacant, {part}": rules.vacant for part, rules in room.during.items() if rules.vacant != room.rules.vacant
    }
    return scenes if room.asked is None else {**scenes, "asked": room.asked}


def _eye(year: Year, room: Room) -> Iterator[str]:
    estimates = list(scene.melanopic(year, room))
    if estimates:
        yield "  melanopic EDI at the eye"
    for part, told in estimates:
        yield from _row(part, 2, [told])
    missing = scene.missing(year.building, room) if year.building.site.bed is not None else ()
    if missing:
        yield f"  no melanopic estimate{' of some parts' if estimates else ''}, missing are"
        yield from _row("", 1, missing)


def _footnote() -> Iterator[str]:
    told = (
        f"Melanopic EDI beside what Brown et al. 2022 recommend at the eye: at least {eye.DAY.lux:g} lx by day, "
        f"at most {eye.EVENING.lux:g} lx in the three hours before bed, at most {eye.NIGHT.lux:g} lx asleep. "
        f"No daylight counts in it; in brackets the spread of lamps, ±{100 * eye.SPREAD:.0f} %. {eye.NO_ADVICE}"
    )
    yield from (*textwrap.wrap(told, WIDTH), "")


# ---- columns ---------------------------------------------------------------------------------------------------------


def _table(title: str, rows: Iterable[tuple[str, list[str]]]) -> Iterator[str]:
    """A title and a row each; nothing where there are none."""
    told = [line for name, things in rows for line in _row(name, 1, things)]
    yield from (title, *told, "") if told else ()


def _row(name: str, depth: int, told: Iterable[str]) -> Iterator[str]:
    """A name, and beside it what is told of it, broken between two things where each fits a line."""
    first = f"{'  ' * depth}{name:<{NAME}} "
    hanging = " " * len(f"{'  ' * depth}{'':<{NAME}} ")
    if len(name) > NAME:
        yield printable(first.rstrip())
        first = hanging
    text = ", ".join(each.replace(" ", _NO_BREAK) if len(hanging + each) < WIDTH else each for each in told)
    text = re.sub(r"(?<=[0-9]) (?=[%Kl])", _NO_BREAK, text)
    wrapper = textwrap.TextWrapper(WIDTH, first, hanging, break_long_words=False, break_on_hyphens=False)
    for line in wrapper.wrap(text):
        yield printable(line.replace(_NO_BREAK, " "))
