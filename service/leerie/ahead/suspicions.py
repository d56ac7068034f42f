"""What is legal but suspicious in the coming year, each with its dates and its reason."""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import combinations

from leerie import eye
from leerie.ahead.dates import folded
from leerie.ahead.stretches import Stretch
from leerie.ahead.year import Year, following
from leerie.config.building import Building, Room, SunStart
from leerie.config.problems import Flaw, hours
from leerie.config.scenes import Scene
from leerie.daylight import civil
from leerie.daylight.calendar import DAY_US
from leerie.targets.scenes import lights

TEN_S = 10 * 3_600
"""Common practice, no source: what is dark at ten in the morning was meant for the night."""
MINUTE_US = 60 * civil.SECOND_US
APART = (0, -1, 1)
"""Days from one part's date to the other's: what starts after midnight may change places with the next day's."""


def suspicions(year: Year) -> Iterator[Flaw]:
    yield from _failing(year)
    yield from _order(year)
    for room in year.building.rooms.values():
        yield from _dark(year, room)
        yield from _lit(year, room)
        yield from _bright(year, room)
        yield from _gliding(year, room)


# ---- starts ----------------------------------------------------------------------------------------------------------


def _failing(year: Year) -> Iterator[Flaw]:
    missed: dict[str, list[date]] = {}
    for day in year.days:
        for part in year.almanac.due(day):
            if part not in year.starts(day):
                missed.setdefault(part, []).append(day)
    started = {part for day in year.days for part in year.starts(day)}
    for part in dict.fromkeys(part for room in year.building.rooms.values() for part in room.parts):
        path = ("day_parts", part, "starts")
        if part in missed:
            problem = f"does not start {folded(missed[part])}, when the sun does not get there"
            yield Flaw(path, problem, "earliest or latest says when instead")
        elif part not in started:
            yield Flaw(path, "does not start on any day of the coming year", "days that come")


def _order(year: Year) -> Iterator[Flaw]:
    rooms = year.building.rooms.values()
    for first, second in combinations(year.building.parts, 2):
        shared = [room.name for room in rooms if first in room.parts and second in room.parts]
        for apart in APART if shared else ():
            before, after = _orders(year, first, second, apart)
            if before and after:
                yield _changed(year.building, (first, before), (second, after), shared)


def _orders(year: Year, first: str, second: str, apart: int) -> tuple[list[date], list[date]]:
    """Dates on which `first` starts before the `second` of so many days later, and those on which it does so after."""
    before: list[date] = []
    after: list[date] = []
    for day, later in zip(year.days, following(year.days[0] + timedelta(apart), len(year.days)), strict=True):
        one, other = year.starts(day).get(first), year.starts(later).get(second)
        if one is not None and other is not None and one != other:
            (before if one < other else after).append(day)
    return before, after


def _changed(
    building: Building, first: tuple[str, list[date]], second: tuple[str, list[date]], rooms: list[str]
) -> Flaw:
    """Each of two parts and the dates on which it is the earlier one; the more usual order is taken as meant."""
    early, late = sorted((first, second), key=lambda part: -len(part[1]))
    problem = f"starts after {late[0]}, not before it, {folded(late[1])}; in {', '.join(rooms)}"
    moving = early[0]
    if _follows_sun(building, late[0]) and not _follows_sun(building, early[0]):
        moving = late[0]
        problem = f"starts before {early[0]}, not after it, {folded(late[1])}; in {', '.join(rooms)}"
    return Flaw(("day_parts", moving, "starts"), problem, "earliest and latest keep two parts in order")


def _follows_sun(building: Building, part: str) -> bool:
    return any(isinstance(start, SunStart) for start in building.parts[part].starts)


# ---- rooms -----------------------------------------------------------------------------------------------------------


def _dark(year: Year, room: Room) -> Iterator[Flaw]:
    """A room without sensors has nobody to leave in the dark: it is led by the day alone."""
    late: dict[str, list[date]] = {}
    dark = [part for part in room.parts if room.sensors and not _lights(room.scenes[part])]
    for stretch in year.row(room.parts) if dark else ():
        if stretch.part in dark:
            late.setdefault(stretch.part, []).extend(_mornings(year, stretch))
    for part, days in late.items():
        if days:
            problem = f"is dark and runs on past 10:00 {folded(days)}"
            yield Flaw(("rooms", room.name, "scenes", part), problem, "a part that starts on those days ends it")


def _mornings(year: Year, stretch: Stretch) -> Iterator[date]:
    """Dates at ten of which it has not ended, though it began before their first light."""
    first, last = (civil.local(year.zone, at).date() for at in (stretch.began, stretch.ends))
    for day in following(first, (last - first).days + 1):
        ten = civil.moment(year.zone, day, TEN_S)
        inside = year.days[0] <= day <= year.days[-1] and stretch.began < ten < stretch.ends
        if inside and stretch.began < min(year.first_light(day), ten):
            yield day


def _lit(year: Year, room: Room) -> Iterator[Flaw]:
    """A room of one part alone has no time of day, and that is no oversight."""
    long: dict[str, list[Stretch]] = {}
    for stretch in year.row(room.parts) if len(room.parts) > 1 else ():
        part, began, ends = stretch
        if part is not None and ends - began > DAY_US and _lights(room.scenes[part]):
            long.setdefault(part, []).append(stretch)
    for part, found in long.items():
        longest = hours(max(stretch.ends - stretch.began for stretch in found) / MINUTE_US)
        days = folded(civil.local(year.zone, stretch.began).date() for stretch in found)
        problem = f"is lit and runs on past 24 h, for up to {longest}, where it begins {days}"
        yield Flaw(("rooms", room.name, "scenes", part), problem, "a part that starts in between ends it")


def _bright(year: Year, room: Room) -> Iterator[Flaw]:
    for part, evening in year.evenings(room).items():
        found = eye.estimate(year.building, room, part, eye.EVENING)
        if found.met is False:
            yield _too_bright(room, found, evening.first)


def _gliding(year: Year, room: Room) -> Iterator[Flaw]:
    """Parts that are dim enough in the end, but not yet when the three hours begin."""
    evenings = (eye.estimate(year.building, room, part, eye.EVENING) for part in year.evenings(room))
    told = [found.part for found in evenings if found.met is False]
    dim: dict[tuple[str, str, float], None] = {}
    for glide in year.glides(room):
        key = glide.earlier, glide.part, glide.share
        if glide.part in told or key in dim:
            continue
        found = eye.estimate(year.building, room, glide.part, eye.EVENING, earlier=glide.earlier, blended=glide.share)
        if found.met is False:
            told.append(glide.part)
            yield _too_bright(room, found, glide.day, f", on the way from {glide.earlier},")
        dim[key] = None


def _too_bright(room: Room, found: eye.Estimate, first: date, how: str = "") -> Flaw:
    told = [0.0 if value is None else value for value in (found.edi, found.low, found.high)]
    digits = next(digits for digits in range(4) if digits == 3 or round(told[0], digits) > eye.EVENING.lux)
    edi, low, high = (f"{value:.{digits}f}" for value in told)
    problem = f"brings{how} melanopic EDI of about {edi} lx ({low}–{high}) in the three hours before bed"
    allowed = f"{eye.EVENING.lux:g} lx at most: Brown et al. 2022; an estimate, first on {first}"
    return Flaw(("rooms", room.name, "scenes", found.part), problem, allowed)


def _lights(scene: Scene) -> bool:
    return any(lights(value) for value in scene.values())
