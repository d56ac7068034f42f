"""Readers of topics that bring a number: cloud cover and outdoor light."""

from functools import partial
from typing import Literal

from leerie.config.building import Feed, Pointer
from leerie.intake.inputs import Metered, Read
from leerie.intake.payloads import scalar
from leerie.intake.reader import Meaning
from leerie.intake.refusal import Refusal
from leerie.intake.sensors import some_number
from leerie.messages import Message

OBSCURED_OKTA = 9
"""WMO code table 2700: the sky cannot be seen. An unknown cover, not nine eighths of it."""

MOST_LUX = 1_000_000
"""Several times what the sun gives; more is no reading."""
_MOST = {"percent": 100.0, "fraction": 1.0, "okta": 8.0}
"""The value of a sky wholly covered."""


def feed(name: Literal["cloud", "outdoor"], config: Feed) -> Meaning:
    """Reads the feed's topic."""
    if config.unit == "metar":
        return _report(name, config)
    worth = _lux if config.unit == "lux" else partial(_cover, unit=config.unit)

    def read(message: Message) -> Read:
        return Read(name, worth(some_number(scalar(message.payload, config.pointer))))

    return read


def _report(name: Literal["cloud", "outdoor"], config: Feed) -> Meaning:
    from leerie.intake import metar  # noqa: PLC0415 - few buildings hear of their cloud from an aerodrome

    def read(message: Message) -> Read:
        found = scalar(message.payload, config.pointer)
        if not isinstance(found, str):
            raise Refusal("wrong_type", f"{found} is no text; allowed: a METAR")
        return Read(name, metar.cover(found))

    return read


def meter(room: str, pointer: Pointer) -> Meaning:
    """Reads the topic of a room's own meter."""

    def read(message: Message) -> Metered:
        return Metered(room, _lux(some_number(scalar(message.payload, pointer))))

    return read


def _lux(found: float) -> float:
    if not 0 <= found <= MOST_LUX:
        raise Refusal("out_of_range", f"{found:g} lx; allowed: 0 to {MOST_LUX}")
    return found


def _cover(found: float, unit: Literal["percent", "fraction", "okta"]) -> float | None:
    """Cloud cover as a fraction 0…1."""
    if unit == "okta" and found == OBSCURED_OKTA:
        return None
    most = _MOST[unit]
    if not 0 <= found <= most:
        also = " and 9 for a sky that cannot be seen" if unit == "okta" else ""
        raise Refusal("out_of_range", f"{found:g} {unit}; allowed: 0 to {most:g}{also}")
    return found / most
