"""Lamps that know nothing of leerie: each reads its topics, takes its payloads apart and shines as it was told."""

import json
import re
from collections.abc import Mapping

import msgspec

from leerie import colour
from leerie.config.building import Fixture, Wire
from leerie.config.payload import LEVEL_PLACEHOLDERS, Node, Slot, Text
from leerie.fixtures.curves import CURVES, measured

COLOURS = ("red", "green", "blue")
LEAST = 0.0001
"""What is lit gives some light, however low it is set."""
Told = dict[str, object]
"""Placeholder → the value that stood in its place."""


class Glow(msgspec.Struct, frozen=True):
    """How a lamp shines."""

    light: float
    """Share of its light at high-end trim, 0…1; 0 is off."""
    kelvin: int | None
    """None: a lamp without white, or one that was told red, green and blue."""
    rgb: tuple[int, int, int] | None
    """0…255, the largest 255 in full light."""


class Lamp:
    """One lamp on the network. What it was never told, it does not know: it is dark and shines in its warmest white."""

    def __init__(self, fixture: Fixture) -> None:
        self._fixture = fixture
        self._told: Told = {}
        self.heard = 0
        """Messages that it understood."""

    @property
    def topics(self) -> tuple[str, ...]:
        wires = (*self._fixture.messages, *(self._fixture.when_off or ()))
        return tuple(dict.fromkeys(wire.topic for wire in wires))

    def hear(self, topic: str, payload: bytes) -> bool:
        """Do as told. False: the lamp cannot make sense of it, and stays as it is."""
        for wires, off in ((self._fixture.messages, False), (self._fixture.when_off or (), True)):
            told = next((told for told in (_heard(wire, topic, payload) for wire in wires) if told is not None), None)
            if told is not None:
                self._told |= {**told, "off": off}
                self.heard += 1
                return True
        return False

    def glow(self) -> Glow:
        lamp, told = self._fixture, self._told
        light = 0.0 if self._is_off() else self._light(self._fraction())
        channels = [_number(told[name]) for name in COLOURS if name in told]
        if channels:
            red, green, blue = (round(255 * channel / max(*channels, 1)) for channel in channels)
            return Glow(light, None, (red, green, blue))
        if "x" in told and "y" in told:
            red, green, blue = (round(255 * c) for c in colour.rgb(_number(told["x"]), _number(told["y"])))
            return Glow(light, None, (red, green, blue))
        return Glow(light, _white(told) or (lamp.kelvin[0] if lamp.kelvin is not None else None), None)

    def _light(self, raw: float) -> float:
        """What the lamp gives at a device fraction, over what it gives at high-end trim."""
        lamp = self._fixture
        curve = CURVES[lamp.curve] if lamp.response is None else measured(lamp.response, lamp.range)
        low, high = lamp.trim
        if raw <= 0:
            return 0.0
        raw = max(raw, low + LEAST)
        if not curve.begins_at_low:
            return curve.light(raw) / curve.light(high)
        return curve.light((raw - low) / (1 - low)) / curve.light((high - low) / (1 - low))

    def _is_off(self) -> bool:
        told = self._told
        return not told or told["off"] is True or ("on" in told and not self._says_on(told["on"]))

    def _says_on(self, word: object) -> bool:
        words = self._fixture.words
        return word == words[0] if words is not None else word in (True, "true")

    def _fraction(self) -> float:
        told, (first, last) = self._told, self._fixture.range
        level = next((name for name in LEVEL_PLACEHOLDERS if name in told), None)
        if level is None:
            return max((_number(told[name]) / 255 for name in COLOURS if name in told), default=1.0)
        value = _number(told[level])
        logarithmic = self._fixture.curve == "dali" and self._fixture.response is None
        arc = max(0.0, value - 1) / 253 if logarithmic else value / 254
        shares = {"level": value, "percent": value / 100, "byte": value / 255, "arc": arc}
        return shares[level] if level != "raw" else (value - first) / (last - first)


def _white(told: Told) -> int | None:
    if "kelvin" in told:
        return round(_number(told["kelvin"]))
    return round(1e6 / _number(told["mired"])) if "mired" in told else None


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float | str) else 0.0


def _heard(wire: Wire, topic: str, payload: bytes) -> Told | None:
    if wire.topic != topic:
        return None
    text = payload.decode()
    told: Told = {}
    if not wire.payload.json:
        return told if _fits_text(wire.payload.root, text, told) else None
    try:
        return told if _fits(wire.payload.root, json.loads(text), told) else None
    except ValueError:
        return None


def _fits(node: Node, value: object, told: Told) -> bool:
    """Whether a value has the form of the payload; what stands in place of a placeholder is put into `told`."""
    if isinstance(node, Slot):
        told[node.name] = value
        return True
    if isinstance(node, Text):
        return isinstance(value, str) and _fits_text(node, value, told)
    if isinstance(node, Mapping):
        return (
            isinstance(value, dict)
            and list(node) == list(value)
            and all(_fits(node[key], item, told) for key, item in value.items())
        )
    if isinstance(node, tuple):
        return isinstance(value, list) and len(node) == len(value) and all(map(_fits, node, value, [told] * len(node)))
    return node == value


def _fits_text(node: Node, text: str, told: Told) -> bool:
    pieces = node.pieces if isinstance(node, Text) else (node,)
    names = [piece.name for piece in pieces if isinstance(piece, Slot)]
    pattern = "".join("(.+)" if isinstance(piece, Slot) else re.escape(str(piece)) for piece in pieces)
    found = re.fullmatch(pattern, text)
    if found is None:
        return False
    told.update(zip(names, found.groups(), strict=True))
    return True
