"""Why a room and its lamps are as they are, as data. Words are made of it at the edge (report), never here."""

from typing import Literal, TypeAlias

import msgspec


class StateReason(msgspec.Struct, frozen=True, tag="state"):
    """Why the room is in its state of occupancy."""

    occupancy: str
    cause: Literal["present", "enclosed", "no_sensors", "blind", "ended", "asked", "started", "time_up"]
    sensor: str | None
    since: int
    """Wall clock, microseconds UTC."""


class PartReason(msgspec.Struct, frozen=True, tag="part"):
    """Which day part holds in the room."""

    part: str | None
    since: int | None
    stand_in: Literal["last", "brightest"] | None = None
    """The clock is not known to be right, so no part holds, and this one stands in for it: the one known last, or the
    room's brightest.
    """


class HoldReason(msgspec.Struct, frozen=True, tag="hold"):
    by: Literal["topic", "button", "hand"]
    since: int
    level: float | None
    kelvin: int | None


class AskReason(msgspec.Struct, frozen=True, tag="ask"):
    light: bool
    since: int
    scene: str | None
    """The scene that brings the light: a day part, `asked`; None for dark."""


class SkyReason(msgspec.Struct, frozen=True, tag="sky"):
    """The light outdoors and what it was made from, where a lamp of the room hangs on it."""

    elevation: float
    """Of the sun, degrees, unrefracted."""
    azimuth: float
    """Degrees from north through east."""
    clear: float
    """What a clear sky would give, lx on the horizontal."""
    cover: float
    """Cloud cover reckoned with, 0…1."""
    factor: float
    """What that leaves of clear-sky light, 1…0.25."""
    newest: float
    """Outdoors now, lx."""
    source: Literal["sun", "sun+cloud", "sensor"]
    """The sun and the cover assumed, the sun and the cover told, or the sensor, from which the cover is worked back."""
    diffuse: float
    """The part of it that comes from the sky and not from the sun, lx."""
    outdoor: float
    """Outdoors as the room goes by it, lx: it follows the newest only so fast."""


class UntouchedReason(msgspec.Struct, frozen=True, tag="untouched"):
    """Started without memory: the lamps stay as they are until a sensor speaks or the grace is over."""


class Base(msgspec.Struct, frozen=True, tag="base"):
    """The scene's own level."""

    level: float


class Unnamed(msgspec.Struct, frozen=True, tag="unnamed"):
    """The scene does not name this lamp: off."""


class Follows(msgspec.Struct, frozen=True, tag="follows"):
    first: float
    second: float
    outdoor: float
    """lx"""
    share: float
    """Where outdoor stands between dark and bright, 0…1."""
    dark: float
    bright: float
    scale: Literal["log", "linear"]
    level: float


class Held(msgspec.Struct, frozen=True, tag="held"):
    level: float


class Biased(msgspec.Struct, frozen=True, tag="biased"):
    bias: float
    level: float


class Partial(msgspec.Struct, frozen=True, tag="partial"):
    """Presence alone brings only a share of the scene."""

    auto_on: float
    level: float


class Warned(msgspec.Struct, frozen=True, tag="warned"):
    share: float
    level: float


class Maintains(msgspec.Struct, frozen=True, tag="maintains"):
    """What an illuminance on the task plane still wants from the lamps that maintain it. All but level in lx."""

    lux: float
    """As the scene has it."""
    bias: float
    wanted: float
    """lux · (1 + bias)²: bias is in perceived brightness."""
    daylight: float
    """Already there from outdoors."""
    by: Literal["meter", "factor"]
    """Who says so: the room's meter, or the daylight factor and the sky's diffuse light."""
    fixed: float
    """Already there from the scene's other lamps."""
    full: float
    """What these lamps bring together at full."""
    output: float
    """The share of their light that they burn at, 0…1."""
    level: float
    """√output"""


class Rested(msgspec.Struct, frozen=True, tag="rested"):
    """The lamp rests at low-end trim where daylight alone would do."""

    level: float
    why: Literal["never_dark", "daylight"] = "never_dark"
    """An escape route, or an ask for light: it does not go off; or only not yet."""
    until: int | None = None
    """When it goes off if daylight stays, wall clock µs UTC; None: not by time."""


class PutOut(msgspec.Struct, frozen=True, tag="put_out"):
    """Off because daylight does; it comes back when daylight has clearly fallen behind."""


class Blended(msgspec.Struct, frozen=True, tag="blended"):
    """On the way from what the day part before gives to what this one gives, both as they are at this moment."""

    earlier: str
    part: str
    share: float
    """Of the way, 0…1."""
    before: "tuple[Step, ...]"
    after: "tuple[Step, ...]"
    level: float


class White(msgspec.Struct, frozen=True, tag="white"):
    kelvin: int
    source: Literal["hold", "scene", "part", "site"]
    wanted: int
    """What was asked for, before the lamp's own range cut it."""
    elevation: float | None = None
    """Degrees of the sun with which the white goes; None: it does not."""


class Coloured(msgspec.Struct, frozen=True, tag="coloured"):
    x: float
    """CIE 1931"""
    y: float


class Sent(msgspec.Struct, frozen=True, tag="sent"):
    """What a level becomes on its way to the lamp."""

    output: float
    """Share of the lamp's light at high-end trim, 0…1."""
    device: float
    """Share of what the device can be told, 0…1, after trims and curve."""
    curve: str
    """The dimming curve, or `response` for a measured one."""
    trim: tuple[float, float]
    messages: tuple[tuple[str, str], ...]
    """Topic and payload of each."""


Step: TypeAlias = (
    Base
    | Unnamed
    | Follows
    | Maintains
    | Held
    | Biased
    | Partial
    | Warned
    | Rested
    | PutOut
    | Blended
    | White
    | Coloured
)


class LampReason(msgspec.Struct, frozen=True, tag="lamp"):
    """How a lamp's level and white came about, step by step."""

    lamp: str
    steps: tuple[Step, ...]
    level: float
    kelvin: int | None
    switched: bool
    sent: Sent | None = None
    """What goes to the lamp for it; None: hands are off."""


Reason: TypeAlias = StateReason | PartReason | HoldReason | AskReason | SkyReason | UntouchedReason | LampReason
