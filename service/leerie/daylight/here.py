"""The light outdoors as one room goes by it: never faster than eyes follow, and its own meter's word before a model's.

What has to be remembered between two looks stands here as one frozen value, part of the room's record; targets are a
pure function of it.
"""

import math
from collections.abc import Mapping
from typing import Literal

import msgspec
from msgspec.structs import replace

from leerie.config.building import Meter, Room
from leerie.daylight.outdoors import Sky
from leerie.now import MINUTE_MS, SECOND_MS, Now

FACTOR_A_MINUTE = 1.25
"""Outdoor light moves by no more than this for a room whose lamps follow it: on the usual scale, 100 to 20 000 lx by
its logarithm, 4 % of the way a minute. Common practice, no source."""
LEAST_LX = 1.0
"""Light below this counts as this where its factor matters: nothing moves for it."""
LONGEST_MS = 4 * 60 * MINUTE_MS
"""After so long any light is within reach."""
METER_SHARE = 0.3
"""How far a reading moves the meter's estimate towards itself. Lamps that bring up to three times what the lumen method
says of them then still settle: what is wrong after a step is 1 − 0.3 k of what was, k the factor of the model."""
METER_STEPS = 2.0
"""A reading that would turn the estimate round by less than so many of the lamps' least steps does not count. Where
lamps bring three times what is said of them, a step is answered threefold: they would go up and down for ever."""
METER_REST_MS = 3 * SECOND_MS
"""Besides its fade a lamp needs so long until a meter has seen its new light."""


class Latch(msgspec.Struct, frozen=True, omit_defaults=True):
    """What keeps a lamp from flickering where daylight alone would just do."""

    since: Now | None = None
    """Since when daylight alone would do; the lamp rests at low-end trim."""
    off: bool = False
    """It has rested long enough."""


class Metered(msgspec.Struct, frozen=True, omit_defaults=True):
    """What the room's meter makes of daylight."""

    lux: float
    """Estimate of daylight on the task plane, lx."""
    at: Now
    """When a reading was last used."""
    reading: float | None = None
    """What the newest reading makes of it, lx; it moves the estimate at the next step. None: nothing new."""
    way: int = 0
    """Which way the estimate last went, 1 up, -1 down."""


class Here(msgspec.Struct, frozen=True, omit_defaults=True):
    """The light outdoors as the room goes by it."""

    at: Now
    outdoor: float
    """lx"""
    diffuse: float
    """lx"""
    daylight: float
    """What of it reaches the task plane, lx."""
    elevation: float
    """Of the sun, degrees, unrefracted."""
    by: Literal["meter", "factor"] = "factor"
    """Who tells the daylight: the meter, or the daylight factor."""
    metered: Metered | None = None
    moving: bool = True
    """Lamps go by it now; else only the meter's estimate is of any worth to them."""
    latches: Mapping[str, Latch] = {}
    """By scene and lamp ("evening/bench"); only lamps that daylight can put out."""


def newest(sky: Sky, room: Room, metered: Metered | None, now: Now) -> Here:
    """The light as it is, for a room of which nobody has seen it move."""
    metered = _counted(metered)
    told = fresh(metered, room.meter, now)
    daylight = room.daylight_factor * sky.diffuse if told is None else told
    by: Literal["meter", "factor"] = "factor" if told is None else "meter"
    return Here(now, sky.outdoor, sky.diffuse, daylight, sky.elevation, by, metered)


def moved(here: Here, sky: Sky, room: Room, now: Now) -> Here:
    """The light as it has moved since `here`, no faster than eyes follow."""
    passed = now.steady - here.at.steady
    metered = _counted(here.metered)
    outdoor = toward(here.outdoor, sky.outdoor, passed)
    diffuse = toward(here.diffuse, sky.diffuse, passed)
    told = fresh(metered, room.meter, now)
    by: Literal["meter", "factor"] = "meter"
    if told is None:
        # Where a meter has fallen silent the estimate takes over without a jump.
        modelled = room.daylight_factor * diffuse
        told = modelled if room.meter is None else toward(here.daylight, modelled, passed)
        by = "factor"
    return Here(now, outdoor, diffuse, told, sky.elevation, by, metered, latches=here.latches)


def hurries(here: Here, sky: Sky, then: Sky, room: Room, now: Now) -> bool:
    """Is any of the light behind where it should be, or so fast that it might fall behind on the way to `now`?

    Light that is neither gets to the same place however often it is looked at. `sky`: as it is at `here`; `then`: at
    `now`.
    """
    most = _reach(0.8 * (now.steady - here.at.steady))
    pairs = [(here.outdoor, sky.outdoor, then.outdoor), (here.diffuse, sky.diffuse, then.diffuse)]
    if room.meter is not None and fresh(here.metered, room.meter, now) is None:
        modelled = room.daylight_factor * here.diffuse
        pairs.append((here.daylight, modelled, room.daylight_factor * then.diffuse))
    return any(before != due or _leaps(before, goal, most) for before, due, goal in pairs)


def _leaps(before: float, goal: float, most: float) -> bool:
    low, high = sorted((before, goal))
    return high > LEAST_LX and high > low * most


def toward(before: float, goal: float, passed_ms: float) -> float:
    """From `before` towards `goal` (lx), by at most FACTOR_A_MINUTE each minute."""
    reach = _reach(passed_ms)
    base = max(before, LEAST_LX)
    if goal >= before:
        return min(goal, base * reach)
    lowest = base / reach
    return goal if lowest <= LEAST_LX else max(goal, lowest)


def _reach(passed_ms: float) -> float:
    return math.pow(FACTOR_A_MINUTE, min(passed_ms, LONGEST_MS) / MINUTE_MS)


def fresh(metered: Metered | None, meter: Meter | None, now: Now) -> float | None:
    """The meter's estimate (lx) until its last reading expires."""
    if metered is None or meter is None or now.steady - metered.at.steady >= meter.expires_ms:
        return None
    return metered.lux


def daylight_read(reading: float, lamps: float, meter: Meter) -> float:
    """Daylight on the task plane (lx) behind a reading, while the lamps bring `lamps` lx to it by the lumen method."""
    return max(0.0, (reading - meter.lamps * lamps) / meter.daylight)


def heard(
    metered: Metered | None, daylight: float, meter: Meter, now: Now, *, from_: float | None, least: float
) -> Metered:
    """After a reading that makes `daylight` lx. `from_`: the daylight that the lamps go by at this moment; None: none
    of them goes by it, and a first estimate need not be reached by steps. `least`: lx below which a reading that would
    turn the estimate round does not count.
    """
    known = fresh(metered, meter, now)
    if known is None or metered is None:
        return Metered(daylight if from_ is None else from_, now, None if from_ is None else daylight)
    if from_ is not None:
        turns = metered.way * (daylight - known) < 0
        counts = not turns or abs(daylight - known) >= least
        return Metered(known, now, daylight if counts else None, metered.way)
    return _counted(Metered(known, now, daylight)) or metered


def _counted(metered: Metered | None) -> Metered | None:
    """The newest reading has its say, once. However many came since the last step, they count as one: the lamps have
    not yet answered any of them.
    """
    if metered is None or metered.reading is None:
        return metered
    moved_to = metered.lux + METER_SHARE * (metered.reading - metered.lux)
    way = (metered.reading > metered.lux) - (metered.reading < metered.lux)
    return replace(metered, lux=moved_to, reading=None, way=way or metered.way)
