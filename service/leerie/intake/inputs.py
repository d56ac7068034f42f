"""What a message can come to mean."""

from typing import Literal, TypeAlias

import msgspec

from leerie.config.building import Deed, HoldEnd


class Said(msgspec.Struct, frozen=True):
    """A presence, motion or door sensor spoke. A retained motion pulse never gets here: it is refused."""

    sensor: str
    present: bool
    """Present, motion, open; or absent, no motion, shut."""
    retained: bool


class Pressed(msgspec.Struct, frozen=True):
    """A button said something."""

    sensor: str
    deed: Deed | None
    """None: a value that the button's `does` leaves out; it is heard and nothing is done."""


class OnlineSaid(msgspec.Struct, frozen=True):
    """A sensor's own online topic spoke."""

    sensor: str
    online: bool


class BatterySaid(msgspec.Struct, frozen=True):
    sensor: str
    low: bool


class Read(msgspec.Struct, frozen=True):
    """A feed brought a number."""

    feed: Literal["cloud", "outdoor"]
    value: float | None
    """Cloud: fraction 0…1, None for a sky that cannot be seen (okta 9); outdoor: lx, at least 0."""


class Metered(msgspec.Struct, frozen=True):
    """A room's own meter spoke."""

    room: str
    lux: float
    """As read, lx, at least 0."""


class HoldWish(msgspec.Struct, frozen=True):
    room: str
    action: Literal["start", "end", "toggle"]
    ends: HoldEnd | None
    """None: the room's `hold_for`."""
    level: float | None
    kelvin: int | None


class AskWish(msgspec.Struct, frozen=True):
    room: str
    light: bool


class BiasWish(msgspec.Struct, frozen=True):
    room: str
    bias: float
    """-0.9…1; 0 clears."""
    ends: HoldEnd


Input: TypeAlias = Said | Pressed | OnlineSaid | BatterySaid | Read | Metered | HoldWish | AskWish | BiasWish
"""Pressed, HoldWish, AskWish, BiasWish, an opening and a motion pulse are events, the rest values."""
