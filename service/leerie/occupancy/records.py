"""What a room remembers of who is there. Frozen values, all of them part of the room's record."""

from collections.abc import Mapping
from typing import Annotated, Literal, TypeAlias

import msgspec

from leerie.config.building import HoldEnd, Room, Rules, Sensor
from leerie.notes import Fault
from leerie.now import Now
from leerie.occupancy.table import Event, State

Level: TypeAlias = Annotated[float, msgspec.Meta(ge=0, le=1)]
Kelvin: TypeAlias = Annotated[int, msgspec.Meta(ge=1_000, le=20_000)]
Bias: TypeAlias = Annotated[float, msgspec.Meta(ge=-0.9, le=1)]
"""Bounds for what is read back from a record, which anybody may have written."""


class Ended(msgspec.Struct, frozen=True):
    """A sensor's presence that is over although the sensor has not said so."""

    why: Literal["cleared", "stuck", "part", "out"]
    at: Now


class Sensed(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a room knows of one of its sensors."""

    said: bool | None = None
    """The last value taken: present, motion, open. None: nothing yet."""
    first: Now | None = None
    """When the unbroken presence began; for a door, when it last moved."""
    last: Now | None = None
    """When it last said present."""
    heard: Now | None = None
    """When it last said anything."""
    awaited: Now | None = None
    """Since when we listen without a break: silence before that is not its own."""
    ended: Ended | None = None
    gone: Now | None = None
    """Since when its online topic says that it is gone."""
    silent: Now | None = None
    """Since when it has been silent for longer than `alive`."""
    low: Now | None = None
    """Since when its battery is low."""

    @property
    def out(self) -> Now | None:
        """Since when it is out, if it is."""
        return self.gone or self.silent

    @property
    def present(self) -> bool:
        """It keeps light: it says present and is believed."""
        return self.said is True and self.ended is None


class Hold(msgspec.Struct, frozen=True, omit_defaults=True):
    since: Now
    ends: HoldEnd
    by: Literal["topic", "button", "hand"]
    level: Level | None = None
    """None: hands off."""
    kelvin: Kelvin | None = None
    forgotten: Now | None = None
    """Since when a hold for ever is older than a day."""


class Asked(msgspec.Struct, frozen=True):
    light: bool
    since: Now


class Biased(msgspec.Struct, frozen=True):
    bias: Bias
    since: Now
    ends: HoldEnd


class Latch(msgspec.Struct, frozen=True):
    """Somebody was seen behind shut doors and has not come out."""

    sensor: str
    at: Now


class Past(msgspec.Struct, frozen=True, omit_defaults=True):
    """What was there when the room last went dark by itself."""

    at: Now
    after: Literal["arriving", "occupied"]
    asked: Asked | None = None
    bias: Biased | None = None
    """Only one that ended because the room became vacant."""
    counted: bool = False
    """It has been counted as a false-off."""


class PastEvent(msgspec.Struct, frozen=True):
    key: str
    at: Now


class Occupancy(msgspec.Struct, frozen=True, omit_defaults=True):
    state: State
    since: Now
    under: str | None
    """The day part in which the state began: its timers are that part's."""
    event: Event | None = None
    """What led here; None: the start."""
    sensor: str | None = None
    """Who brought it."""
    first: Now | None = None
    """First evidence of this arrival."""
    warned: bool = False
    untouched: bool = False
    """Started without memory: no lamp is commanded yet."""
    sensors: Mapping[str, Sensed] = {}
    blind: Now | None = None
    """Since when all sensors are out."""
    latch: Latch | None = None
    hold: Hold | None = None
    asked: Asked | None = None
    bias: Biased | None = None
    past: Past | None = None
    events: tuple[PastEvent, ...] = ()
    """The events of the last half second, so that one that comes twice is one."""
    refusals: tuple[Fault, ...] = ()
    """Of each source the last message refused, until an event is taken, or another word of that source."""


class Place(msgspec.Struct, frozen=True):
    """A room with its sensors, as occupancy sees it."""

    room: Room
    sensors: Mapping[str, Sensor]
    """The room's, in its order, buttons included."""
    doors: tuple[str, ...]
    eyes: tuple[str, ...]
    """Presence, motion and door sensors: what can be blind. None of them: always occupied."""

    @classmethod
    def of(cls, room: Room, sensors: Mapping[str, Sensor]) -> "Place":
        mine = {name: sensors[name] for name in room.sensors}
        doors = tuple(name for name, sensor in mine.items() if sensor.kind == "door")
        eyes = tuple(name for name, sensor in mine.items() if sensor.kind != "button")
        return cls(room, mine, doors, eyes)

    def under(self, part: str | None) -> Rules:
        return self.room.rules_in(part)

    def stuck(self) -> int:
        """The longest `stuck` of the room's sensors (ms)."""
        return max((self.sensors[name].stuck_ms for name in self.eyes), default=0)
