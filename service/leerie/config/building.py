"""The building as the controller knows it: the config, checked and compiled.

Plain frozen records. Durations are milliseconds, levels and trims fractions 0…1, pointers tuples of reference tokens
(RFC 6901), and every default, `during` override and lower bound is already worked in: who reads a Building never asks
what the config left out.
"""

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Literal, TypeAlias

import msgspec

from leerie.config.durations import LONGEST_MS
from leerie.config.payload import Template
from leerie.config.running import Broker, Service
from leerie.config.scenes import Scene

Pointer: TypeAlias = tuple[str, ...] | None
"""Where in a JSON payload the value stands; None: the whole payload is the value."""


class Site(msgspec.Struct, frozen=True):
    name: str
    latitude: float
    """Degrees, north positive."""
    longitude: float
    """Degrees, east positive."""
    timezone: str
    """An IANA zone that the machine knows."""
    holidays: str | None
    """Country, or country-subdivision, as the holidays library names them."""
    days_off: tuple[tuple[date, date], ...]
    """First and last day of each stretch; they count as holidays."""
    workweek: tuple[int, ...]
    """Weekdays, Monday 0; a workday is one of them that is no holiday."""
    kelvin: int
    bed: str | None = None
    """The day part in which people sleep, for the melanopic estimate."""


class Feed(msgspec.Struct, frozen=True):
    """A topic that brings a number."""

    topic: str
    pointer: Pointer
    expires_ms: int
    unit: Literal["percent", "fraction", "okta", "metar", "lux"]


class Daylight(msgspec.Struct, frozen=True):
    dark: float
    """Outdoor lx at or below which a following lamp sits at its first level."""
    bright: float
    """Outdoor lx at or above which it sits at its second; dark < bright."""
    scale: Literal["log", "linear"]
    assume_cloud: float
    """Fraction 0…1 while no fresh cloud value is known."""
    cloud: Feed | None
    outdoor: Feed | None


Days: TypeAlias = tuple[str, ...]
"""Of mon … sun, workday, holiday; a union. Empty: every day."""


class ClockStart(msgspec.Struct, frozen=True):
    second: int
    """Seconds after local midnight, 0…86399."""
    days: Days


class SunStart(msgspec.Struct, frozen=True):
    event: Literal["dawn", "sunrise", "noon", "sunset", "dusk"]
    offset_s: int
    days: Days


class DayPart(msgspec.Struct, frozen=True):
    name: str
    starts: tuple[ClockStart | SunStart, ...]
    """The first whose days fit the date; none fits: the part does not start that day."""
    earliest: int | None
    """Seconds after local midnight; bounds every day's start."""
    latest: int | None
    kelvin: int | None
    blend_ms: int = 0
    """How long a room takes from what its part before gives to what this one gives."""


class Match(msgspec.Struct, frozen=True):
    """What a payload's value must be to say a word."""

    words: tuple[str, ...]
    """Case-folded and trimmed; JSON true, false and numbers in their JSON spelling ("true", "1", "0.5")."""
    at_least: float | None = None
    above: float | None = None
    at_most: float | None = None
    below: float | None = None


class Online(msgspec.Struct, frozen=True):
    topic: str
    pointer: Pointer
    present: Match
    absent: Match


class Battery(msgspec.Struct, frozen=True):
    topic: str
    pointer: Pointer
    low: float
    """At or below it the battery is low."""


Deed: TypeAlias = Literal["ask light", "ask dark", "hold toggle", "hold start", "hold end", "raise", "lower"]


class Sensor(msgspec.Struct, frozen=True):
    name: str
    kind: Literal["presence", "motion", "door", "button"]
    topic: str
    pointer: Pointer
    present: Match
    """Doors: open."""
    absent: Match
    """Doors: shut."""
    stuck_ms: int
    clears_ms: int | None
    rests_ms: int
    alive_ms: int | None
    online: Online | None
    battery: Battery | None
    does: Mapping[str, Deed]
    """Buttons: what each value (case-folded) does."""


class Wire(msgspec.Struct, frozen=True):
    """One message of a lamp's command."""

    topic: str
    payload: Template


class Fixture(msgspec.Struct, frozen=True):
    name: str
    kind: Literal["switched", "dimmable", "tunable", "colour"]
    messages: tuple[Wire, ...]
    when_off: tuple[Wire, ...] | None
    """Sent instead of `messages` for off; None: the same messages say it."""
    words: tuple[str, str] | None
    """What $on says for on and for off; None: true and false."""
    trim: tuple[float, float]
    """Low-end and high-end trim, device fractions, 0 ≤ low < high ≤ 1."""
    curve: Literal["linear", "square", "dali", "lightness"]
    response: tuple[tuple[float, float], ...] | None
    """Measured (raw, lux), rising in both; takes the curve's place."""
    range: tuple[float, float]
    """What $raw spans."""
    kelvin: tuple[int, int] | None
    """Warmest and coolest white (equal for a lamp of one white that the config names); None: a lamp without white."""
    fade_up_ms: int
    fade_down_ms: int
    pace_ms: int
    """Least time between two commands."""
    refresh_ms: int | None
    """None: never."""
    lumens: float | None = None
    """At high-end trim."""
    watts: float | None = None
    """Drawn at high-end trim."""
    standby: float = 0.5
    """W drawn while off."""
    utilisation: float | None = None
    """Share of its lumens that reach the task plane; None: the room's."""


class Rules(msgspec.Struct, frozen=True):
    """What holds in a room during one day part: the room's keys, overridden by `during`."""

    sensors: tuple[str, ...]
    """Bring and keep light."""
    keep: tuple[str, ...]
    """Only keep it."""
    auto_on: float
    confirm_ms: int
    pass_through_ms: int
    """With its floor (longest clears + rests + 5 s) worked in; egress: the grace."""
    grace_ms: int
    """With its floor worked in."""
    warn_before_ms: int | None
    """At most half the grace; None: no warning."""
    warn_level: float
    relight_ms: int
    vacant: Scene


HoldEnd: TypeAlias = Annotated[int, msgspec.Meta(ge=1, le=LONGEST_MS)] | Literal["vacant", "day_part", "ever"]
"""When a hold ends: after so many milliseconds, or at that event. Bounds are for what is read back from a record."""


class Meter(msgspec.Struct, frozen=True):
    """A light sensor in a room."""

    topic: str
    pointer: Pointer
    expires_ms: int
    lamps: float
    """What it reads for each lx that the lamps bring to the task plane."""
    daylight: float
    """What it reads for each lx that daylight brings there, above 0."""


class Room(msgspec.Struct, frozen=True):
    name: str
    sensors: tuple[str, ...]
    """Every sensor the room has to do with, in config order: `sensors` and `keep`, of the room and of any `during`."""
    fixtures: tuple[str, ...]
    parts: tuple[str, ...]
    """The day parts its scenes name, in the file's order."""
    rules: Rules
    """While no day part holds, and in parts without `during`."""
    during: Mapping[str, Rules]
    scenes: Mapping[str, Scene]
    """By day part, in the file's order of day parts."""
    asked: Scene | None
    hold_for: HoldEnd
    if_blind: Literal["on", "off", "last"]
    enclosed: bool
    settle_ms: int
    egress: bool
    area: float | None = None
    """m²"""
    maintenance: float = 0.8
    """Share of their first light that lamps keep over the years."""
    utilisation: float = 0.5
    """Share of lamp lumens that reach the task plane, where the lamp has no own."""
    daylight_factor: float = 0.0
    """Daylight on the task plane per diffuse illuminance outdoors, fraction (the config says percent)."""
    eye_ratio: float = 0.5
    """Vertical illuminance at the eye over horizontal at the task."""
    meter: Meter | None = None

    def rules_in(self, part: str | None) -> Rules:
        """The rules of that day part."""
        return self.rules if part is None else self.during.get(part, self.rules)


class Building(msgspec.Struct, frozen=True):
    site: Site
    broker: Broker
    service: Service
    daylight: Daylight
    parts: Mapping[str, DayPart]
    sensors: Mapping[str, Sensor]
    fixtures: Mapping[str, Fixture]
    rooms: Mapping[str, Room]
    """All in the file's order."""
