"""Which day part holds when, worked out from a row of starts."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from leerie.daylight.calendar import LOOK_BACK_US, Start


class Stretch(NamedTuple):
    """A part holds from one instant to another, both wall clock, µs UTC."""

    part: str | None
    """None: none of the parts began within a week."""
    began: int
    ends: int


def stretches(starts: Iterable[Start], parts: tuple[str, ...]) -> Iterator[Stretch]:
    """What those of `parts` give that start, in order; a part that starts again runs on. Of two that start together
    the later one holds.
    """
    current: Stretch | None = None
    for start in starts:
        if start.part not in parts:
            continue
        runs_out = start.at + LOOK_BACK_US
        if current is not None and current.part == start.part and start.at <= current.ends:
            current = Stretch(current.part, current.began, runs_out)
            continue
        if current is not None and current.began < start.at:
            yield Stretch(current.part, current.began, min(current.ends, start.at))
        current = Stretch(start.part, start.at, runs_out)
    if current is not None:
        yield current


def between(row: Iterable[Stretch], first: int, last: int) -> Iterator[Stretch]:
    """The stretches of a row cut to the time from `first` to `last` (µs UTC), and its gaps."""
    at = first
    for part, began, ends in row:
        if ends <= first or began >= last:
            continue
        if at < began:
            yield Stretch(None, at, began)
        at = min(ends, last)
        yield Stretch(part, max(began, first), at)
    if at < last:
        yield Stretch(None, at, last)
