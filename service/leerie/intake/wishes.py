"""Readers of what a person may wish of a room: hold, ask, bias. Each message is taken or refused as a whole."""

from typing import Literal

from leerie.config import durations
from leerie.config.building import HoldEnd
from leerie.intake.inputs import AskWish, BiasWish, HoldWish
from leerie.intake.payloads import fields, number, text
from leerie.intake.reader import Meaning, is_event
from leerie.intake.refusal import Refusal, quoted
from leerie.messages import Message

BIAS = (-0.9, 1.0)
LEVEL = (0.0, 1.0)
KELVIN = (1_000, 20_000)
"""Whites that anybody could mean; the lamp's own range cuts further."""

_ACTIONS: dict[str, Literal["start", "end", "toggle"]] = {"start": "start", "end": "end", "toggle": "toggle"}
_ASKS = {"light": True, "dark": False}
_EVENTS: dict[str, Literal["vacant", "day_part", "ever"]] = {"vacant": "vacant", "day_part": "day_part", "ever": "ever"}
_LENGTHS = f'a duration such as "90m" (at most {durations.render(durations.LONGEST_MS)}), {", ".join(_EVENTS)}'


def hold(room: str) -> Meaning:
    """Reads the room's hold topic."""

    def read(message: Message) -> HoldWish | None:
        if not is_event(message):
            return None
        spelling = text(message.payload)
        if spelling.startswith("{"):
            return _hold(room, fields(spelling, ("hold", "for", "level", "kelvin")))
        action = _ACTIONS.get(spelling.casefold())
        if action is None:
            raise Refusal("unknown_word", f'{quoted(spelling)}; allowed: {", ".join(_ACTIONS)}, {{"hold": true, …}}')
        return HoldWish(room, action, None, None, None)

    return read


def ask(room: str) -> Meaning:
    """Reads the room's ask topic."""

    def read(message: Message) -> AskWish | None:
        if not is_event(message):
            return None
        spelling = text(message.payload)
        light = _ASKS.get(spelling.casefold())
        if light is None:
            raise Refusal("unknown_word", f"{quoted(spelling)}; allowed: {', '.join(_ASKS)}")
        return AskWish(room, light)

    return read


def bias(room: str) -> Meaning:
    """Reads the room's bias topic."""

    def read(message: Message) -> BiasWish | None:
        if not is_event(message):
            return None
        spelling = text(message.payload)
        if spelling.startswith("{"):
            given = fields(spelling, ("bias", "for"))
            return BiasWish(room, _number(given, "bias", BIAS), _ends(given) if "for" in given else "ever")
        found = number(spelling)
        if found is None:
            raise Refusal("wrong_type", f'{quoted(spelling)}; allowed: a number, {{"bias": …, "for": …}}')
        return BiasWish(room, _within(found, "bias", BIAS), "ever")

    return read


def _hold(room: str, given: dict[str, object]) -> HoldWish:
    begins = given.get("hold")
    if "hold" not in given:
        raise Refusal("no_value", "hold is missing; allowed: true, false")
    if not isinstance(begins, bool):
        raise Refusal("wrong_type", f"hold {quoted(begins)}; allowed: true, false")
    if not begins:
        return _release(room, given)
    level = _number(given, "level", LEVEL) if "level" in given else None
    if "kelvin" in given and level is None:
        raise Refusal("no_value", "kelvin without level; allowed: both, level alone, neither")
    return HoldWish(
        room,
        "start",
        _ends(given) if "for" in given else None,
        level,
        _kelvin(given) if "kelvin" in given else None,
    )


def _release(room: str, given: dict[str, object]) -> HoldWish:
    """An end has neither length nor light: whoever sends them means something else."""
    if len(given) > 1:
        other = next(key for key in given if key != "hold")
        raise Refusal("unknown_key", f"{other} with hold false; allowed with it: nothing")
    return HoldWish(room, "end", None, None, None)


def _number(given: dict[str, object], key: str, bounds: tuple[float, float]) -> float:
    if key not in given:
        raise Refusal("no_value", f"{key} is missing; allowed: {bounds[0]:g} to {bounds[1]:g}")
    value = given[key]
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise Refusal("wrong_type", f"{key} {quoted(value)}; allowed: a number, {bounds[0]:g} to {bounds[1]:g}")
    return _within(value, key, bounds)


def _within(value: float, key: str, bounds: tuple[float, float]) -> float:
    if not bounds[0] <= value <= bounds[1]:
        raise Refusal("out_of_range", f"{key} {quoted(value)}; allowed: {bounds[0]:g} to {bounds[1]:g}")
    return float(value) + 0.0  # no minus zero


def _kelvin(given: dict[str, object]) -> int:
    value = _number(given, "kelvin", KELVIN)
    if not value.is_integer():
        raise Refusal("wrong_type", f"kelvin {quoted(value)}; allowed: a whole number, {KELVIN[0]} to {KELVIN[1]}")
    return int(value)


def _ends(given: dict[str, object]) -> HoldEnd:
    value = given["for"]
    if not isinstance(value, str):
        raise Refusal("wrong_type", f"for {quoted(value)}; allowed: {_LENGTHS}")
    wanted = value.strip().casefold()
    if wanted in _EVENTS:
        return _EVENTS[wanted]
    try:
        length = durations.parse(wanted)
    except ValueError:
        raise Refusal("unknown_word", f"for {quoted(value)}; allowed: {_LENGTHS}") from None
    if length == 0:
        raise Refusal("out_of_range", f"for {quoted(value)}; allowed: longer than 0s")
    return length
