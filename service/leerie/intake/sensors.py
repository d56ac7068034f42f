"""Readers of what belongs to a sensor: its own topic, its online topic, its battery."""

from collections.abc import Callable
from typing import Literal

from leerie.config.building import Battery, Online, Sensor
from leerie.intake.inputs import BatterySaid, OnlineSaid, Pressed, Said
from leerie.intake.payloads import number, scalar, word
from leerie.intake.reader import Meaning, is_event
from leerie.intake.refusal import Refusal, quoted
from leerie.intake.words import Choice
from leerie.messages import Message

_NAMES: dict[Literal["presence", "motion", "door", "button"], tuple[str, str]] = {
    "presence": ("present", "absent"),
    "motion": ("motion", "no motion"),
    "door": ("open", "shut"),
}


def sensor(config: Sensor) -> Meaning:
    """Reads the sensor's own topic."""
    return _KINDS[config.kind](config)


def online(name: str, config: Online) -> Meaning:
    """Reads the topic that says whether the sensor is there."""
    choice = Choice.of(config.present, config.absent, ("present", "absent"))

    def read(message: Message) -> OnlineSaid:
        return OnlineSaid(name, choice.made(scalar(message.payload, config.pointer)))

    return read


def battery(name: str, config: Battery) -> Meaning:
    """Reads the sensor's battery."""

    def read(message: Message) -> BatterySaid:
        return BatterySaid(name, some_number(scalar(message.payload, config.pointer)) <= config.low)

    return read


def some_number(value: str | float | bool | None) -> float:
    """The value as a number. Raises Refusal if it is none."""
    if value is None:
        raise Refusal("no_value", "null; allowed: a number")
    found = number(value)
    if found is None:
        raise Refusal("wrong_type", f"{quoted(value)}; allowed: a number")
    return found


def _value(config: Sensor) -> Meaning:
    """Presence and doors: a retained message sets the value, and only a live one can be an arrival."""
    choice = Choice.of(config.present, config.absent, _NAMES[config.kind])

    def read(message: Message) -> Said:
        return Said(config.name, choice.made(scalar(message.payload, config.pointer)), message.retained)

    return read


def _motion(config: Sensor) -> Meaning:
    """A pulse is an event, `no motion` a value."""
    choice = Choice.of(config.present, config.absent, _NAMES[config.kind])

    def read(message: Message) -> Said | None:
        if not message.payload:
            return None
        present = choice.made(scalar(message.payload, config.pointer))
        return Said(config.name, present, message.retained) if not present or is_event(message) else None

    return read


def _button(config: Sensor) -> Meaning:
    """What a press means; values that are not named are heard and do nothing."""
    does = {word(value): deed for value, deed in config.does.items()}

    def read(message: Message) -> Pressed | None:
        if not is_event(message):
            return None
        return Pressed(config.name, does.get(word(scalar(message.payload, config.pointer))))

    return read


_KINDS: dict[Literal["presence", "motion", "door", "button"], Callable[[Sensor], Meaning]] = {
    "presence": _value,
    "door": _value,
    "motion": _motion,
    "button": _button,
}
