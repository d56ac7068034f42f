"""What a room and the sky look like from outside. Instants are wall clock, microseconds UTC."""

from typing import Literal, TypeAlias

import msgspec

from leerie.notes import Fault
from leerie.reasons import Reason


class LampView(msgspec.Struct, frozen=True):
    level: float
    """As leerie last asked for it."""
    kelvin: int | None
    xy: tuple[float, float] | None = None
    """A colour instead of a white, CIE 1931."""

    @property
    def on(self) -> bool:
        return self.level > 0


class HoldView(msgspec.Struct, frozen=True):
    since: int
    until: int | None
    ends: int | Literal["vacant", "day_part", "ever"]
    """Milliseconds or an event."""
    level: float | None
    kelvin: int | None
    by: Literal["topic", "button", "hand"]


Shown: TypeAlias = Literal["vacant", "arriving", "occupied", "grace"]
"""A state of occupancy as the world names it."""


class RoomView(msgspec.Struct, frozen=True):
    """A room as the world sees it. Instants are wall clock, microseconds UTC."""

    room: str
    state: Shown | Literal["hold"]
    occupancy: Shown
    since: int
    until: int | None
    hold: HoldView | None
    asked: Literal["light", "dark"] | None
    bias: float
    part: str | None
    outdoor: float
    """lx"""
    fixtures: tuple[tuple[str, LampView | None], ...] | None
    """None in a hands-off hold; a lamp not yet commanded is None."""
    because: tuple[Reason, ...]
    faults: tuple[Fault, ...]
    present: bool
    """Something keeps the room in use."""
    sensors_present: tuple[str, ...] = ()
    """Those of its sensors that count as present now; of doors those that stand open."""
    told: tuple[tuple[str, LampView | None], ...] = ()
    """As `fixtures`, in a hands-off hold too: what the lamps were told, wherever hands have put them since."""


class SkyView(msgspec.Struct, frozen=True):
    at: int
    part: str | None
    """The day part that began last of all."""
    elevation: float
    azimuth: float
    cloud: float | None
    outdoor: float
    diffuse: float
    source: Literal["sun", "sun+cloud", "sensor"]
