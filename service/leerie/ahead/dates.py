"""Dates, folded into ranges."""

from collections.abc import Iterable
from datetime import date, timedelta

MOST_RANGES = 3
"""More of them tell nobody more."""


def folded(days: Iterable[date]) -> str:
    """Rising dates as people read them: from 2026-12-01 to 2027-01-12, on 2027-05-03 and 4 more times."""
    ranges: list[tuple[date, date]] = []
    for day in days:
        if ranges and day - ranges[-1][1] <= timedelta(1):
            ranges[-1] = (ranges[-1][0], day)
        else:
            ranges.append((day, day))
    told = [f"on {first}" if first == last else f"from {first} to {last}" for first, last in ranges[:MOST_RANGES]]
    more = len(ranges) - len(told)
    return ", ".join(told) + (f" and {more} more {'time' if more == 1 else 'times'}" if more else "")
