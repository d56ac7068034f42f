"""Times for people, in the building's own zone."""

from datetime import timedelta, tzinfo

from leerie.config.problems import hours
from leerie.daylight.civil import DAY_S, SECOND_US, local
from leerie.pages.markup import Node, element
from leerie.report.figures import timestamp

SOON_S = 120
"""What is over so soon is told to the second."""
WEEK_DAYS = 7
MINUTE_S, HOUR_S = 60, 3_600


def moment(wall: int, now: int, zone: tzinfo, *, fine: bool = False) -> Node:
    """An instant (µs UTC): its time of day, with the weekday or the date where that is not today's.

    `fine`: to the second, and not to the minute.
    """
    read, today = local(zone, wall), local(zone, now).date()
    away = abs(read.date() - today)
    clock = f"{read:%H:%M:%S}" if fine else f"{read:%H:%M}"
    day = "" if not away else f"{read:%a} " if away < timedelta(WEEK_DAYS) else f"{read:%Y-%m-%d} "
    return element("time", day + clock, datetime=timestamp(wall, zone))


def length(span: int) -> str:
    """A length of time (µs) as people say it, rounded up."""
    seconds = max(0, -(-span // SECOND_US))
    minutes = -(-seconds // MINUTE_S)
    if seconds < SOON_S:
        return f"{seconds} s"
    if minutes < HOUR_S // MINUTE_S:
        return f"{minutes} min"
    return hours(minutes) if seconds <= 2 * DAY_S else f"{-(-seconds // DAY_S)} days"


def until(wall: int, now: int, zone: tzinfo) -> list[Node | str]:
    """When (µs UTC) and how long yet."""
    yet = f"in {length(wall - now)}" if wall > now else "any moment"
    fine = wall - now < SOON_S * SECOND_US
    return ["until ", moment(wall, now, zone, fine=fine), ", ", element("span", yet, class_="left")]
