"""Sensors and lamps as the config file may write them."""

from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from leerie.config.building import Deed
from leerie.config.quantities import Fraction, Kelvin, Lumens, Number, Pace, Raw, Share, Standby, Watts
from leerie.config.values import (
    BY_SHAPE,
    LIST,
    PAIR,
    TABLE,
    TEXT,
    Allowed,
    Duration,
    Lasting,
    LastingOrNever,
    Pointer,
    Table,
    Text,
    Topic,
    Word,
    typed,
)

# ---- sensors ---------------------------------------------------------------------------------------------------------


class Bounds(Table):
    at_least: Number | None = None
    above: Number | None = None
    at_most: Number | None = None
    below: Number | None = None


Match = Annotated[
    Annotated[list[Word], Field(min_length=1), LIST] | Annotated[Bounds, TABLE],
    BY_SHAPE,
    Allowed('a list of words such as [true, "on"], or a table with at_least, above, at_most or below'),
]


class Online(Table):
    topic: Topic
    pointer: Pointer | None = None
    present: Match | None = None
    absent: Match | None = None


class Battery(Table):
    topic: Topic
    pointer: Pointer | None = None
    low: Number


def _folded(does: dict[str, Deed]) -> dict[str, Deed]:
    return {value.strip().casefold(): deed for value, deed in does.items()}


class Sensor(Table):
    kind: Literal["presence", "motion", "door", "button"]
    topic: Topic
    pointer: Pointer | None = None
    present: Match | None = None
    absent: Match | None = None
    stuck: Lasting | None = None
    alive: Lasting | None = None
    online: Online | None = None
    battery: Battery | None = None
    clears: Lasting | None = None
    rests: Duration | None = None
    does: Annotated[dict[str, Deed], AfterValidator(_folded)] | None = None


# ---- lamps -----------------------------------------------------------------------------------------------------------

_Text = Annotated[str, TEXT]
_Table = Annotated[dict[str, object], TABLE]
Payload = Annotated[_Text | _Table, BY_SHAPE, Allowed('text such as "$on", or a table')]


class Wire(Table):
    topic: Topic
    payload: Payload


class Words(Table):
    on: Text
    off: Text


class Fade(Table):
    up: Duration = "1s"
    down: Duration = "1s"


def _both_ways(value: object) -> object:
    return {"up": value, "down": value} if isinstance(value, str) else value


def _one_white(value: object) -> object:
    value = typed(value)
    return [value, value] if isinstance(value, int) and not isinstance(value, bool) else value


Wires = Annotated[list[Wire], Field(min_length=1), Allowed("a list of { topic, payload }")]
WhenOff = Annotated[
    _Text | _Table | Annotated[Wires, LIST],
    BY_SHAPE,
    Allowed("text or a table; with messages, a list of { topic, payload }"),
]
Trim = Annotated[list[Fraction], PAIR, Allowed("[low, high], each 0 to 1")]
Range = Annotated[list[Raw], PAIR, Allowed("[lowest, highest]")]
Response = Annotated[
    list[Annotated[list[Raw], PAIR, Allowed("[raw, lux]")]],
    Field(min_length=2),
    Allowed("at least two of [raw, lux]"),
]
Whites = Annotated[
    list[Kelvin], PAIR, BeforeValidator(_one_white), Allowed("[warmest, coolest] in kelvin, or one number")
]


class Fixture(Table):
    kind: Literal["switched", "dimmable", "tunable", "colour"]
    topic: Topic | None = None
    payload: Payload | None = None
    when_off: WhenOff | None = None
    messages: Wires | None = None
    words: Annotated[Words, Allowed("{ on, off }, both text")] | None = None
    trim: Trim = Field([0.0, 1.0])
    curve: Literal["linear", "square", "dali", "lightness"] = "linear"
    response: Response | None = None
    range: Range = Field([0.0, 255.0])
    kelvin: Whites | None = None
    lumens: Lumens | None = None
    watts: Watts | None = None
    standby: Standby = 0.5
    utilisation: Share | None = None
    fade: Annotated[Fade, BeforeValidator(_both_ways), Allowed("a duration such as 2s, or { up, down }")] = Fade()
    pace: Pace = 5.0
    refresh: LastingOrNever | None = None
