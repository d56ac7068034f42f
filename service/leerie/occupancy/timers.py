"""Everything that time alone does to a room's occupancy, each as the steady millisecond at which it is due.

Nothing counts down: a timer is worked out afresh from when a thing began and how long it lasts, so a reload that
changes a length changes the timer, and a moment that passed while nobody looked is still taken at its own time, in
order.
"""

from collections.abc import Iterator
from typing import Literal, TypeAlias

import msgspec
from msgspec.structs import replace

from leerie.now import DAY_MS, Now
from leerie.occupancy import sensors, wishes
from leerie.occupancy.records import Occupancy
from leerie.occupancy.table import Event, State
from leerie.occupancy.turn import Turn

FORGOTTEN_MS = DAY_MS
"""A hold for ever that is older is a fault."""

What: TypeAlias = Literal[
    "cleared",
    "stuck",
    "silent",
    "sealed",
    "latch_stuck",
    "blind_stuck",
    "confirmed",
    "warning",
    "time_up",
    "wish",
    "forgotten",
]


class Timer(msgspec.Struct, frozen=True):
    due: int
    what: What
    sensor: str | None = None


def next_timer(turn: Turn) -> Timer | None:
    """What is due first; of several at one instant the sensors' own come before the room's."""
    first: Timer | None = None
    for timer in _timers(turn):
        if first is None or timer.due < first.due:
            first = timer
    return first


def end_of_state(turn: Turn) -> Timer | None:
    """When the state of occupancy ends by itself, if it does."""
    ends = (*_state_timers(turn), *_blind_timers(turn))
    return next((timer for timer in ends if timer.what != "warning"), None)


def fire(turn: Turn, timer: Timer, at: Now) -> None:
    """Let what is due happen, at its own time."""
    occupancy = turn.occupancy
    match timer.what:
        case "cleared" | "stuck" | "silent":
            name = timer.sensor or ""
            turn.put(name, sensors.lapse(occupancy.sensors[name], timer.what, at))
            turn.see_sensors(at)
        case "sealed":
            turn.latch(timer.sensor or "", at)
        case "latch_stuck":
            turn.occupancy = replace(occupancy, latch=None)
            turn.see_end(at)
        case "blind_stuck":
            turn.see_end(at)
        case "confirmed":
            turn.move(Event.CONFIRMED, at, timer.sensor)  # trial: confirmed while nobody speaks
        case "warning":
            turn.move(Event.WARNING, at)
        case "time_up":
            turn.move(Event.TIME_UP, at)
            wishes.condition(turn, "vacant", at)
        case "wish":
            wishes.condition(turn, "time", at)
        case "forgotten":
            _forget(turn, at)


def _forget(turn: Turn, at: Now) -> None:
    held = turn.occupancy.hold
    if held is not None:
        turn.occupancy = replace(turn.occupancy, hold=replace(held, forgotten=at))  # trial: a hold forgotten


def _timers(turn: Turn) -> Iterator[Timer]:
    yield from _sensor_timers(turn)
    yield from _doors_timers(turn)
    yield from _state_timers(turn)
    yield from _wish_timers(turn.occupancy)


def _sensor_timers(turn: Turn) -> Iterator[Timer]:
    for name, sensed in turn.occupancy.sensors.items():
        for due, what in sensors.lapses(sensed, turn.place.sensors[name]):
            if what != "silent" or not turn.deaf:
                yield Timer(due, what, name)
    yield from _blind_timers(turn)


def _blind_timers(turn: Turn) -> Iterator[Timer]:
    blind = turn.occupancy.blind
    if blind is not None and turn.place.room.if_blind == "last" and turn.occupancy.state is State.OCCUPIED:
        yield Timer(blind.steady + turn.place.stuck(), "blind_stuck")


def _doors_timers(turn: Turn) -> Iterator[Timer]:
    latch = turn.occupancy.latch
    if latch is not None:
        yield Timer(latch.at.steady + turn.place.sensors[latch.sensor].stuck_ms, "latch_stuck")
    elif turn.place.room.enclosed:
        # A presence sensor that goes on saying "present" sees somebody also at the first moment that counts.
        for name in filter(turn.sees_at_every_moment, turn.seeing()):
            sealed = turn.sealed_from(name)
            if sealed is not None:
                yield Timer(sealed + 1, "sealed", name)


def _state_timers(turn: Turn) -> Iterator[Timer]:
    occupancy = turn.occupancy
    rules = turn.place.under(occupancy.under)
    start = occupancy.since.steady
    if occupancy.state is State.ARRIVING:
        seen = turn.seen()
        if seen is not None:
            first = occupancy.first or occupancy.since
            since = occupancy.sensors[seen].first or first
            yield Timer(max(first.steady + rules.confirm_ms, since.steady), "confirmed", seen)
    elif occupancy.state is State.PASSING:
        yield Timer(start + rules.pass_through_ms, "time_up")
    elif occupancy.state is State.GRACE:
        if rules.warn_before_ms is not None and not occupancy.warned and not occupancy.untouched:
            yield Timer(start + rules.grace_ms - rules.warn_before_ms, "warning")
        yield Timer(start + rules.grace_ms, "time_up")


def _wish_timers(occupancy: Occupancy) -> Iterator[Timer]:
    for wish in (occupancy.hold, occupancy.bias):
        if wish is not None and isinstance(wish.ends, int):
            yield Timer(wish.since.steady + wish.ends, "wish")
    held = occupancy.hold
    if held is not None and held.ends == "ever" and held.forgotten is None:
        yield Timer(held.since.steady + FORGOTTEN_MS, "forgotten")
