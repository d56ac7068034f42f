"""What happened and why, as data.

Notes are all that log, metrics, journal, rehearsal and trials see of the controller. Words are made of them at the
edge (report), never here.
"""

from typing import Literal, TypeAlias

import msgspec

from leerie.now import Now, Wall
from leerie.reasons import Reason

Cause: TypeAlias = Literal[
    "occupancy", "part", "drift", "ask", "bias", "hold", "hold_end", "refresh", "reconnect", "start", "egress"
]
"""Why a command went out."""


class Heard(msgspec.Struct, frozen=True, tag="heard"):
    """A message was taken."""

    kind: Literal[
        "presence", "motion", "door", "button", "online", "battery", "cloud", "outdoor", "meter", "hold", "ask", "bias"
    ]
    source: str
    """A sensor's, feed's or room's key."""
    value: str
    retained: bool


RefusalReason: TypeAlias = Literal[
    "not_utf8",
    "too_large",
    "too_deep",
    "not_json",
    "no_value",
    "unknown_word",
    "wrong_type",
    "out_of_range",
    "unknown_key",
    "retained_event",
    "unknown_topic",
]


class Refused(msgspec.Struct, frozen=True, tag="refused"):
    """A message was refused whole and changed nothing."""

    source: str
    """A sensor's or feed's key; for a wish the room's and which wish, such as "hall/hold"; "unknown" for a topic nobody
    reads.
    """
    reason: RefusalReason
    text: str
    """What was found and what is allowed, one line, without control characters."""
    rooms: tuple[str, ...] = ()


class Moved(msgspec.Struct, frozen=True, tag="moved"):
    """A room's occupancy moved along one line of the table."""

    room: str
    before: str
    after: str
    event: str
    sensor: str | None
    at: Now


class HoldBegun(msgspec.Struct, frozen=True, tag="hold_begun"):
    room: str
    by: Literal["topic", "button", "hand"]
    level: float | None
    kelvin: int | None
    at: Now


class HoldEnded(msgspec.Struct, frozen=True, tag="hold_ended"):
    room: str
    why: Literal["end", "time", "vacant", "day_part", "ask"]
    at: Now


class NotHeld(msgspec.Struct, frozen=True, tag="not_held"):
    """An end came where there was no hold: counted, no error."""

    room: str


class Decided(msgspec.Struct, frozen=True, tag="decided"):
    """What a room's lamps should be was worked out and something of it is new."""

    room: str
    cause: Cause
    state: str
    part: str | None
    reasons: tuple[Reason, ...]


class Commanded(msgspec.Struct, frozen=True, tag="commanded"):
    room: str
    fixture: str
    cause: Cause
    level: float
    kelvin: int | None
    publishes: int


class Coalesced(msgspec.Struct, frozen=True, tag="coalesced"):
    """A command that waited for its lamp's pace was replaced by a newer one."""

    fixture: str


class Undelivered(msgspec.Struct, frozen=True, tag="undelivered"):
    """The broker refused a command."""

    fixture: str
    topic: str


FaultCode: TypeAlias = Literal[
    "sensor_out",
    "sensor_stuck",
    "battery_low",
    "room_blind",
    "hold_forgotten",
    "event_retained",
    "message_refused",
]


class Fault(msgspec.Struct, frozen=True, tag="fault"):
    """Something is wrong in a room. `text` is the one place where the core makes words: the fault's own, in state,
    log and page alike.
    """

    code: FaultCode
    what: str
    since: Wall
    """Wall clock, microseconds UTC."""
    text: str


class Faulted(msgspec.Struct, frozen=True, tag="faulted"):
    room: str
    fault: Fault


class Recovered(msgspec.Struct, frozen=True, tag="recovered"):
    room: str
    fault: Fault


class FalseOff(msgspec.Struct, frozen=True, tag="false_off"):
    """Presence within 60 s of going dark by itself."""

    room: str
    after: Literal["arriving", "occupied"]
    """Which grace had run out."""


Note: TypeAlias = (
    Heard
    | Refused
    | Moved
    | HoldBegun
    | HoldEnded
    | NotHeld
    | Decided
    | Commanded
    | Coalesced
    | Undelivered
    | Faulted
    | Recovered
    | FalseOff
)
