"""What crosses the seam between the controller and the broker."""

import msgspec

from leerie.notes import Note
from leerie.views import RoomView, SkyView

AT_ONCE = 20
"""So many of our publishes are unacknowledged at most, whatever the broker would take…"""
RETAINED_AT_ONCE = 4
"""…and so many of them are states and records; the others are commands."""


class Message(msgspec.Struct, frozen=True):
    """A message from the broker."""

    topic: str
    payload: bytes
    retained: bool = False
    """The broker kept it from before we subscribed: a value of unknown age, never an event."""


class Publish(msgspec.Struct, frozen=True):
    """One message of a lamp's command. Sent at QoS 1, never retained."""

    ticket: int
    """Counts up from 1; the holder hands it back with `acknowledged`."""
    topic: str
    payload: bytes
    expiry_s: int
    """With MQTT 5 the broker drops it when it could not be delivered for so long (s)."""


class Outcome(msgspec.Struct, frozen=True):
    """What follows from a step, in the order in which it is to be handed over: lamps first."""

    commands: tuple[Publish, ...] = ()
    records: tuple[str, ...] = ()
    """Rooms whose record is to be written now, before the views go out."""
    rooms: tuple[RoomView, ...] = ()
    sky: SkyView | None = None
    notes: tuple[Note, ...] = ()


class Step(msgspec.Struct, frozen=True):
    """What one step of a room leaves to be done."""

    commands: tuple[Publish, ...]
    notes: tuple[Note, ...]
    save: bool
    view: RoomView | None
