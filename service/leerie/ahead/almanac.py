"""What a date is, whatever starts on it: a holiday, and a date on which a part is due though its sun event fails."""

from datetime import date

from msgspec import structs

from leerie.config.building import Building, ClockStart, DayPart, SunStart
from leerie.daylight.calendar import Calendar

NOON_S = 43_200
HOLIDAY = "holiday at noon"
"""No name that a config's day part can have."""


class Almanac:
    """The same calendar in a world in which every start comes at noon, so that none ever fails."""

    def __init__(self, building: Building) -> None:
        self._failing = {name: _at_noon(part) for name, part in building.parts.items() if _may_fail(part)}
        holiday = DayPart(HOLIDAY, (ClockStart(NOON_S, ("holiday",)),), None, None, None)
        self._calendar = Calendar(structs.replace(building, parts={**self._failing, HOLIDAY: holiday}))

    def due(self, day: date) -> tuple[str, ...]:
        """Parts whose days fit the date and whose sun event may yet fail to happen, without a bound in its place."""
        if not self._failing:
            return ()
        return tuple(start.part for start in self._calendar.starts(day) if start.part in self._failing)

    def is_holiday(self, day: date) -> bool:
        return any(start.part == HOLIDAY for start in self._calendar.starts(day))


def _may_fail(part: DayPart) -> bool:
    bound = part.earliest is not None or part.latest is not None
    return not bound and any(isinstance(start, SunStart) for start in part.starts)


def _at_noon(part: DayPart) -> DayPart:
    return structs.replace(part, starts=tuple(ClockStart(NOON_S, start.days) for start in part.starts))
