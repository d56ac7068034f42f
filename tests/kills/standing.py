"""How a room stands, as it was published; what a saying and time make of that; and whether two are the same."""

import json
from collections.abc import Iterator
from datetime import datetime

import msgspec
from msgspec.structs import replace

from leerie.config import durations

from .house import GRACES_S, Saying

ROUNDED_S = 1.0
"""Instants are published to the whole second, rounded down."""


class Held(msgspec.Struct, frozen=True):
    since: float
    until: float | None
    level: float | None


class Standing(msgspec.Struct, frozen=True):
    """What must survive of a room. Instants are seconds since 1970."""

    occupancy: str
    since: float
    """Of the hold, if there is one."""
    until: float | None
    hold: Held | None
    asked: str | None
    bias: float

    @property
    def hands_off(self) -> bool:
        return self.hold is not None and self.hold.level is None

    @property
    def wishes(self) -> tuple[object, ...]:
        return self.hold, self.asked, self.bias


def read(payload: bytes) -> Standing:
    """A room's state as published."""
    state = json.loads(payload)
    held = state["hold"]
    hold = None if held is None else Held(_instant(held["since"]), _maybe(held["until"]), held["level"])
    return Standing(
        state["occupancy"], _instant(state["since"]), _maybe(state["until"]), hold, state["asked"], state["bias"]
    )


def after(room: str, before: Standing, saying: Saying, at: float, beneath: float) -> Iterator[Standing]:
    """What a saying may make of a room; `beneath`: since when occupancy is as it is under a hold."""
    grace_s = GRACES_S[room]
    in_grace = replace(before, occupancy="grace", since=at, until=at + grace_s)
    match saying.kind:
        case "presence" if saying.payload == "true":
            yield (
                replace(before, occupancy="occupied", since=at, until=None)
                if before.occupancy != "occupied"
                else before
            )
        case "presence":
            yield in_grace if before.occupancy == "occupied" else before
        case "ask":
            asked = before if before.occupancy == "occupied" else in_grace
            yield replace(asked, asked=saying.payload)
        case "bias":
            yield replace(before, bias=json.loads(saying.payload)["bias"])
        case "hold" if saying.payload == "end":
            yield replace(before, hold=None, since=beneath, until=None)
        case "hold":
            wish = json.loads(saying.payload)
            until = at + durations.parse(wish["for"]) / 1_000
            yield replace(before, hold=Held(at, until, wish.get("level")), since=at, until=until)


def ended(standing: Standing, beneath: float, now: float) -> Standing | None:
    """What has become of it at its `until`, if that has come."""
    if standing.until is None or now < standing.until:
        return None
    if standing.hold is not None:
        return replace(standing, hold=None, since=beneath, until=None)
    return replace(standing, occupancy="vacant", since=standing.until, until=None, asked=None)


def same(one: Standing, other: Standing, within_s: float) -> bool:
    """The same, but for instants that may be so far apart."""

    def near(a: float | None, b: float | None) -> bool:
        return a is b or (a is not None and b is not None and abs(a - b) <= within_s)

    held, holds = one.hold, other.hold
    return (
        (one.occupancy, one.asked, one.bias) == (other.occupancy, other.asked, other.bias)
        and near(one.since, other.since)
        and near(one.until, other.until)
        and (
            held is holds
            or (
                held is not None
                and holds is not None
                and held.level == holds.level
                and near(held.since, holds.since)
                and near(held.until, holds.until)
            )
        )
    )


def _instant(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def _maybe(text: str | None) -> float | None:
    return None if text is None else _instant(text)
