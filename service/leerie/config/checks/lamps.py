"""Checks of one lamp: what its payload can say, and whether its device's numbers stand in order."""

from collections.abc import Iterator, Mapping
from math import isfinite
from typing import cast

from leerie.config.devices import Fixture
from leerie.config.payload import LEVEL_PLACEHOLDERS, PLACEHOLDERS, parse
from leerie.config.problems import Flaw, NotAllowedError, Path, shown

MOST = 2**64 - 1
"""The largest whole number that goes out in a payload; few that read JSON know a larger one."""
_DIMMABLE = ("on", *LEVEL_PLACEHOLDERS, "fade")
_SAYS = {
    "switched": ("on",),
    "dimmable": _DIMMABLE,
    "tunable": (*_DIMMABLE, "kelvin", "mired"),
    "colour": PLACEHOLDERS,
}
_COLOURS = (("x", "y"), ("red", "green", "blue"))


def lamp_flaws(path: Path, lamp: Fixture) -> Iterator[Flaw]:
    yield from _wires(path, lamp)
    said: set[str] = set()
    lit: set[str] = set()
    sound = True
    for place, payload in _payloads(path, lamp):
        for flaw in _placeholders(place, payload, lamp.kind, said):
            sound = False
            yield flaw
        if place[len(path)] != "when_off":
            lit |= said
    if sound and (lamp.payload is not None or lamp.messages or lamp.kind == "switched"):
        yield from _content(path, lamp, said, lit)
    yield from _device(path, lamp, said)
    yield from _white(path, lamp)
    if lamp.watts is not None and lamp.watts < lamp.standby:
        key = "standby" if "standby" in lamp.model_fields_set else "watts"
        problem = f"{lamp.watts:g} W at high-end trim is less than {lamp.standby:g} W while off"
        yield Flaw((*path, key), problem, "standby at most watts")


# ---- what is sent ----------------------------------------------------------------------------------------------------


def _wires(path: Path, lamp: Fixture) -> Iterator[Flaw]:
    if lamp.messages:
        if lamp.topic is not None or lamp.payload is not None:
            yield Flaw((*path, "messages"), "stands beside topic or payload", "either topic and payload, or messages")
        if lamp.when_off is not None and not isinstance(lamp.when_off, list):
            yield Flaw((*path, "when_off"), "has no topic", "with messages, a list of { topic, payload }")
        return
    if lamp.topic is None:
        yield Flaw((*path, "topic"), "is missing", "a topic, or messages")
    if lamp.payload is None and lamp.kind != "switched":
        yield Flaw(
            (*path, "payload"), "is missing", f"what a {lamp.kind} lamp is sent: text or a table with placeholders"
        )


def _payloads(path: Path, lamp: Fixture) -> Iterator[tuple[Path, object]]:
    if lamp.payload is not None:
        yield (*path, "payload"), lamp.payload
    for key, value in (("messages", lamp.messages), ("when_off", lamp.when_off)):
        if isinstance(value, list):
            yield from (((*path, key, index, "payload"), wire.payload) for index, wire in enumerate(value))
        elif value is not None:
            yield (*path, key), value
    if lamp.payload is None and not lamp.messages and lamp.kind == "switched":
        yield (*path, "payload"), "$on"


def _placeholders(path: Path, payload: object, kind: str, said: set[str]) -> Iterator[Flaw]:
    """Flaws of one payload, each at its own line; the placeholders in it are added to `said`."""
    for place, leaf in _leaves(path, payload):
        if isinstance(leaf, float) and not isfinite(leaf):
            yield Flaw(place, f"{leaf} cannot be sent", "a finite number")
            continue
        if isinstance(leaf, int) and abs(leaf) > MOST:
            yield Flaw(place, f"{shown(leaf)} cannot be sent", f"a number up to {MOST}")
            continue
        try:
            names = parse(leaf).names
        except NotAllowedError as error:
            yield Flaw(place, error.problem, error.allowed, error.nearest)
            continue
        said.update(names)
        for name in names:
            if name not in _SAYS[kind]:
                allowed = ", ".join(f"${known}" for known in _SAYS[kind])
                yield Flaw(place, f"${name} is nothing that a {kind} lamp can be told", allowed)


def _leaves(path: Path, value: object) -> Iterator[tuple[Path, object]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _leaves((*path, key), inner)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _leaves((*path, index), inner)
    else:
        yield path, value


def _content(path: Path, lamp: Fixture, said: set[str], lit: set[str]) -> Iterator[Flaw]:
    """What a lamp of this kind has to be told at the least. `lit`: the placeholders that serve when it is lit."""
    place = (*path, "messages" if lamp.messages else "payload")
    for group in _COLOURS:
        if lit & set(group) and not lit >= set(group):
            yield Flaw(place, "names a part of a colour", "all of " + ", ".join(f"${name}" for name in group))
            return
    if lamp.kind == "switched" and "on" not in lit and lamp.when_off is None:
        yield Flaw(place, "says the same for on and off", "$on in it, or when_off")
    if lamp.kind != "switched" and not lit & {*LEVEL_PLACEHOLDERS, "red"}:
        allowed = "one of " + ", ".join(f"${name}" for name in LEVEL_PLACEHOLDERS)
        yield Flaw(place, "does not say how bright", allowed)
    if lamp.kind == "tunable" and not lit & {"kelvin", "mired"}:
        yield Flaw(place, "does not say which white", '$kelvin or $mired; or kind = "dimmable"')
    if lamp.kind == "colour" and not lit & {"x", "red"}:
        yield Flaw(place, "does not say which colour", '$x and $y, or $red, $green and $blue; or kind = "tunable"')
    if lamp.words is not None and "on" not in said:
        yield Flaw((*path, "words"), "serves no $on", "$on in the payload, or no words")


# ---- the device ------------------------------------------------------------------------------------------------------


def _device(path: Path, lamp: Fixture, said: set[str]) -> Iterator[Flaw]:
    given = lamp.model_fields_set
    if lamp.kind == "switched":
        for key in ("trim", "curve", "response", "range"):
            if key in given:
                yield Flaw((*path, key), "does not go with kind switched", "on and off are all that it knows")
        return
    yield from _rising((*path, "trim"), lamp.trim, "low-end trim below high-end trim")
    yield from _rising((*path, "range"), lamp.range, "the lowest below the highest")
    if lamp.words is not None and lamp.words.on == lamp.words.off:
        yield Flaw((*path, "words"), "on and off are the same word", "two words")
    if "range" in given and "raw" not in said and lamp.response is None:
        yield Flaw((*path, "range"), "serves no $raw", "$raw in the payload, a response, or no range")
    if lamp.response is not None:
        yield from _response(path, lamp)


def _response(path: Path, lamp: Fixture) -> Iterator[Flaw]:
    place = (*path, "response")
    points = cast("list[list[float]]", lamp.response)
    if "curve" in lamp.model_fields_set:
        yield Flaw((*path, "curve"), "stands beside a response", "one of curve and response")
    low, high = lamp.range
    for index, (raw, lux) in enumerate(points):
        if not low <= raw <= high:
            yield Flaw((*place, index), f"{raw:g} lies outside the range", f"raw from {low:g} to {high:g}")
        if lux < 0:
            yield Flaw((*place, index), f"{lux:g} lx is no light", "lx from 0")
        if index and not (raw > points[index - 1][0] and lux > points[index - 1][1]):
            before = ", ".join(f"{number:g}" for number in points[index - 1])
            yield Flaw(
                (*place, index),
                f"[{raw:g}, {lux:g}] does not rise above [{before}]",
                "raw and lux rise from point to point",
            )


def _white(path: Path, lamp: Fixture) -> Iterator[Flaw]:
    if lamp.kelvin is None:
        return
    warmest, coolest = lamp.kelvin
    place = (*path, "kelvin")
    if warmest > coolest:
        yield Flaw(place, f"{warmest} is cooler than {coolest}", "[warmest, coolest]: the smaller number first")
    elif lamp.kind in ("tunable", "colour") and warmest == coolest:
        yield Flaw(place, f"a {lamp.kind} lamp has more than one white", "[warmest, coolest]")
    elif lamp.kind in ("switched", "dimmable") and warmest != coolest:
        yield Flaw(place, f"a {lamp.kind} lamp has one white", "one number")


def _rising(path: Path, pair: list[float], allowed: str) -> Iterator[Flaw]:
    if pair[0] >= pair[1]:
        yield Flaw(path, f"[{pair[0]:g}, {pair[1]:g}] is upside down", allowed)
