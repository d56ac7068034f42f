"""How somebody in a room moves and sits still, which is all that sensors know of a person."""

import math
import random
from collections.abc import Iterator

import msgspec

from leerie.config.building import Building, Room
from leerie.rehearsal.people import SECOND_US, Stay

LEAST_S = 2.0
SPREAD = 1.6
"""Of the logarithm of the time between two movements: short ones mostly, and now and then a very long one. That gives
a coefficient of variation of 3.5; measured in rooms where one person sits it is 3 to 5 (the home in the tests).
"""
SETTLES_S = 60.0
"""So long after coming in nobody sits still yet…"""
UNSETTLED_S = (3.0, 15.0)
"""…but moves each time so soon."""
LOST = 0.2
"""Share of stillnesses in which even a presence sensor loses the person. Invented."""
LOST_AFTER_S = (20.0, 90.0)
"""…after at least so long, and so much more on average."""
SHORTEST_LOSS_S = 5.0
HEEDS_WARNING = 0.6
"""Share of those about to be left in the dark who move when the light is dimmed, and not only when it is gone."""
NOTICES_S = (3.0, 40.0)
"""Between them lies the time after which one waves at a light that went out."""


class Dark(msgspec.Struct, frozen=True):
    """When a room goes dark over whoever is in it."""

    unseen_s: float
    """Seconds without a sign of anybody after which it does."""
    by_radar: bool
    """The room has a presence sensor, which sees also who does not move until it loses them."""
    warned_s: float


class Stir(msgspec.Struct, frozen=True):
    """A movement, and how long afterwards a presence sensor still sees the person."""

    at: int
    lost: int | None
    """Microseconds UTC; None: it does so until the next movement."""


def darkness(building: Building, room: Room) -> Dark | None:
    """None: a room that leaves nobody in the dark, an enclosed one."""
    if room.enclosed:
        return None
    sensors = [building.sensors[name] for name in room.sensors]
    clears = max((sensor.clears_ms or 0 for sensor in sensors), default=0)
    rules = room.rules
    return Dark(
        (rules.grace_ms + clears) / 1_000,
        any(sensor.kind == "presence" for sensor in sensors),
        (rules.warn_before_ms or 0) / 1_000,
    )


def stirs(stay: Stay, dark: Dark | None, rng: random.Random) -> Iterator[Stir]:
    """Every movement of a stay: on coming in, now and then while there, on going out."""
    middle = math.log(stay.stirs) - SPREAD**2 / 2
    at = stay.start + round(rng.uniform(0.2, 1.0) * SECOND_US)
    while at < stay.end - SECOND_US:
        still = LEAST_S + rng.lognormvariate(middle, SPREAD)
        lost = LOST_AFTER_S[0] + rng.expovariate(1 / LOST_AFTER_S[1]) if rng.random() < LOST else still
        still = _noticed(still, lost, dark, rng)
        unsettled = rng.uniform(*UNSETTLED_S)
        if at - stay.start < SETTLES_S * SECOND_US:
            still = min(still, unsettled)
        following = min(stay.end - SECOND_US, at + round(still * SECOND_US))
        gone = at + round(lost * SECOND_US)
        yield Stir(at, gone if gone < following - SHORTEST_LOSS_S * SECOND_US else None)
        at = following
    yield Stir(max(at, stay.end - SECOND_US), None)


def _noticed(still: float, lost: float, dark: Dark | None, rng: random.Random) -> float:
    """Who is left in the dark moves soon; so does, now and then, who sees the light go down."""
    heeds, early, late = rng.random() < HEEDS_WARNING, rng.random(), rng.uniform(*NOTICES_S)
    if dark is None or (dark.by_radar and lost >= still):
        return still
    gone = dark.unseen_s + (lost if dark.by_radar else 0.0)
    return min(still, gone - early * dark.warned_s if heeds else gone + late)
