"""Civil time: from a date and a time on a zone's clocks to an instant, over skipped and repeated hours.

Everywhere else instants are integers, because Python subtracts two local times of one zone as if its clocks had never
changed.
"""

from bisect import bisect_left
from datetime import UTC, date, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

SECOND_US = 1_000_000
DAY_S = 86_400
_NOTHING, _SECOND = timedelta(), timedelta(seconds=1)


def local(zone: tzinfo, wall: int) -> datetime:
    """The instant `wall` (µs UTC) on the zone's clocks."""
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=wall)).astimezone(zone)


def moment(zone: ZoneInfo, day: date, second: int) -> int:
    """When the zone's clocks read `second` (s after midnight, 0…86399) on that date, in µs UTC.

    In a repeated hour the first of the two; in a skipped one the moment the clocks jump.
    """
    before, after = _offsets(zone, day, second)
    read = (day - date(1970, 1, 1)).days * DAY_S + second
    if before >= after:
        return (read - before) * SECOND_US
    jump = bisect_left(range(read - after, read - before), after, key=lambda instant: _offset_at(zone, instant))
    return (read - after + jump) * SECOND_US


def noon_offset(zone: ZoneInfo, day: date) -> int:
    """Seconds east of UTC at noon of that date."""
    return _offsets(zone, day, DAY_S // 2)[0]


def skipped(zone: ZoneInfo, day: date) -> bool:
    """The zone went from one side of the date line to the other and left the date out."""
    before, after = _offsets(zone, day, DAY_S // 2)
    return after - before >= DAY_S


def _offsets(zone: ZoneInfo, day: date, second: int) -> tuple[int, int]:
    """Seconds east of UTC before and after a change of clocks that concerns this time; equal where there is none."""
    read = datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(seconds=second)
    return _seconds(read), _seconds(read.replace(fold=1))


def _offset_at(zone: ZoneInfo, instant: int) -> int:
    return _seconds(local(zone, instant * SECOND_US))


def _seconds(read: datetime) -> int:
    return (read.utcoffset() or _NOTHING) // _SECOND
