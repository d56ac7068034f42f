"""The two state machines of a room, as data.

Occupancy says whether a room is in use. It is vacant; or somebody has just come (arriving), and may only be passing
through; or it is in use (occupied); or nobody has been seen for a while and the light waits a little longer:
*passing* is the grace after an arrival that was never confirmed, *grace* the one after real use. Outside the house
both are called "grace".

A hold is the second machine. It lies over occupancy and hides it, but occupancy runs on beneath: when the hold ends,
the room shows whatever occupancy has become meanwhile. So the two machines never block each other, and no event has
to be remembered.

What an event means is settled before it gets here, so that the tables need no conditions:

- A *glimpse* is evidence that is not sure yet: less than `confirm` after the first. *Evidence* is sure: `confirm` has
  passed since the first (or is 0), or the room went dark by itself less than `relight` ago, or the value comes from
  before we listened and is no arrival.
- *Keep* is evidence from a sensor that may only keep light, never bring it.
- *Ended* comes when the last thing that keeps the room in use is gone: sensors present, an enclosed latch, blind
  belief.
- A *stuck* or *out* sensor is no event of its own: its presence ends, and if it was the last, *ended* follows.

When two things are due at one instant, time comes before messages, and sensors' own timers come before the room's.

Every pair of state and event that can happen stands here; a pair that is missing cannot happen, and asking for it
raises IllegalMoveError and changes nothing. Everything that decides the next state must live here.
"""

from enum import StrEnum
from types import MappingProxyType

import msgspec

from leerie.views import Shown


class State(StrEnum):
    VACANT = "vacant"
    ARRIVING = "arriving"
    OCCUPIED = "occupied"
    PASSING = "passing"
    """Grace after arriving; lasts `pass_through`."""
    GRACE = "grace"
    """Grace after occupied or after an ask; lasts `grace`."""

    @property
    def shown(self) -> Shown:
        """As the world names it: both graces are "grace"."""
        return _SHOWN[self]


_SHOWN: dict[State, Shown] = {
    State.VACANT: "vacant",
    State.ARRIVING: "arriving",
    State.OCCUPIED: "occupied",
    State.PASSING: "grace",
    State.GRACE: "grace",
}


class Event(StrEnum):
    GLIMPSE = "glimpse"
    EVIDENCE = "evidence"
    KEEP = "keep"
    CONFIRMED = "confirmed"
    ENDED = "ended"
    WARNING = "warning"
    TIME_UP = "time_up"
    ASKED = "asked"
    BLIND_ON = "blind_on"
    BLIND_OFF = "blind_off"
    BLIND_LAST = "blind_last"
    PART_BEGINS = "part_begins"


class HoldState(StrEnum):
    FREE = "not held"
    HELD = "held"


class HoldEvent(StrEnum):
    START = "start"
    END = "end"
    TOGGLE = "toggle"
    OVER = "over"
    """Its time is up or its condition has come."""
    ASKED = "asked"


_S, _E = State, Event

OCCUPANCY: MappingProxyType[State, MappingProxyType[Event, State]] = MappingProxyType(
    {
        _S.VACANT: MappingProxyType(
            {
                _E.GLIMPSE: _S.ARRIVING,
                _E.EVIDENCE: _S.OCCUPIED,
                _E.KEEP: _S.VACANT,
                _E.ASKED: _S.GRACE,
                _E.BLIND_ON: _S.OCCUPIED,
                _E.BLIND_OFF: _S.VACANT,
                _E.BLIND_LAST: _S.VACANT,
                _E.PART_BEGINS: _S.VACANT,
            }
        ),
        _S.ARRIVING: MappingProxyType(
            {
                _E.GLIMPSE: _S.ARRIVING,
                _E.EVIDENCE: _S.OCCUPIED,
                _E.KEEP: _S.ARRIVING,
                _E.CONFIRMED: _S.OCCUPIED,
                _E.ENDED: _S.PASSING,
                _E.ASKED: _S.OCCUPIED,
                _E.BLIND_ON: _S.OCCUPIED,
                _E.BLIND_OFF: _S.PASSING,
                _E.BLIND_LAST: _S.OCCUPIED,
                _E.PART_BEGINS: _S.ARRIVING,
            }
        ),
        _S.OCCUPIED: MappingProxyType(
            {
                _E.EVIDENCE: _S.OCCUPIED,
                _E.KEEP: _S.OCCUPIED,
                _E.ENDED: _S.GRACE,
                _E.ASKED: _S.OCCUPIED,
                _E.BLIND_ON: _S.OCCUPIED,
                _E.BLIND_OFF: _S.GRACE,
                _E.BLIND_LAST: _S.OCCUPIED,
                _E.PART_BEGINS: _S.OCCUPIED,
            }
        ),
        _S.PASSING: MappingProxyType(
            {
                _E.GLIMPSE: _S.ARRIVING,
                _E.EVIDENCE: _S.OCCUPIED,
                _E.KEEP: _S.OCCUPIED,
                _E.TIME_UP: _S.VACANT,
                _E.ASKED: _S.GRACE,
                _E.BLIND_ON: _S.OCCUPIED,
                _E.BLIND_OFF: _S.PASSING,
                _E.BLIND_LAST: _S.PASSING,
                _E.PART_BEGINS: _S.PASSING,
            }
        ),
        _S.GRACE: MappingProxyType(
            {
                _E.EVIDENCE: _S.OCCUPIED,
                _E.KEEP: _S.OCCUPIED,
                _E.WARNING: _S.GRACE,
                _E.TIME_UP: _S.VACANT,
                _E.ASKED: _S.GRACE,
                _E.BLIND_ON: _S.OCCUPIED,
                _E.BLIND_OFF: _S.GRACE,
                _E.BLIND_LAST: _S.GRACE,
                _E.PART_BEGINS: _S.GRACE,
            }
        ),
    }
)

_H, _V = HoldState, HoldEvent

HOLD: MappingProxyType[HoldState, MappingProxyType[HoldEvent, HoldState]] = MappingProxyType(
    {
        _H.FREE: MappingProxyType(
            {_V.START: _H.HELD, _V.END: _H.FREE, _V.TOGGLE: _H.HELD, _V.ASKED: _H.FREE},
        ),
        _H.HELD: MappingProxyType(
            {_V.START: _H.HELD, _V.END: _H.FREE, _V.TOGGLE: _H.FREE, _V.OVER: _H.FREE, _V.ASKED: _H.FREE},
        ),
    }
)


class IllegalMoveError(Exception):
    """A pair of state and event that cannot happen; nothing was changed."""

    def __init__(self, room: str, state: str, event: str) -> None:
        super().__init__(f"{room}: {event} cannot happen while {state}")
        self.room = room
        self.state = state
        self.event = event


def move(room: str, state: State, event: Event) -> State:
    """The next state of occupancy. Raises IllegalMoveError for a pair outside the table."""
    try:
        return OCCUPANCY[state][event]
    except KeyError:
        raise IllegalMoveError(room, state, event) from None


def move_hold(room: str, state: HoldState, event: HoldEvent) -> HoldState:
    """Held or not after the event. Raises IllegalMoveError for a pair outside the table."""
    try:
        return HOLD[state][event]
    except KeyError:
        raise IllegalMoveError(room, state, event) from None


class Cells(msgspec.Struct, frozen=True):
    """A table ready to print."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def markdown(self) -> str:
        lines = [self.head, tuple("---" for _ in self.head), *self.rows]
        return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def occupancy_cells() -> Cells:
    rows = (
        (event.value, *(OCCUPANCY[state][event].value if event in OCCUPANCY[state] else "–" for state in State))
        for event in Event
    )
    return Cells(("event", *(state.value for state in State)), tuple(rows))


def hold_cells() -> Cells:
    rows = (
        (event.value, *(HOLD[state][event].value if event in HOLD[state] else "–" for state in HoldState))
        for event in HoldEvent
    )
    return Cells(("hold event", *(state.value for state in HoldState)), tuple(rows))


def markdown() -> str:
    """Both tables, as they stand in DEVELOPERS.md."""
    return occupancy_cells().markdown() + "\n\n" + hold_cells().markdown()
