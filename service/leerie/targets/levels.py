"""A scene's value becomes a level: perceived brightness 0…1, whose light output is its square (IES square law)."""

import math
from collections.abc import Iterator, Mapping

import msgspec

from leerie.config.building import Daylight, Fixture, Room
from leerie.config.scenes import Fixed, Follow, Maintain, Scene, Value
from leerie.daylight.here import Here, Latch
from leerie.now import MINUTE_MS, Now
from leerie.reasons import (
    Base,
    Biased,
    Coloured,
    Follows,
    Maintains,
    Partial,
    PutOut,
    Rested,
    Step,
    Unnamed,
    Warned,
    White,
)
from leerie.targets import illuminance

RESTING = 0.01
"""Level that stands for low-end trim: so little light (0.01 % of it) that every curve and trim rule gives the lowest
the lamp is used at.
"""
REST_MS = 10 * MINUTE_MS
"""So long a lamp rests at low-end trim before daylight puts it out. Common practice, no source."""
COMES_BACK_SHARE = 0.05
"""A lamp that follows daylight and was put out comes back when daylight is so far from where it put it out."""
AMPLE = 1.1
"""Daylight of so many times the wanted illuminance puts the lamps out that maintain it; less only dims them."""


class Setting(msgspec.Struct, frozen=True):
    """All that a scene's values hang on."""

    here: Here
    daylight: Daylight
    bias: float = 0.0
    never_dark: bool = False
    """A lamp that its scene lights does not go off by daylight."""


def share_of_daylight(outdoor: float, daylight: Daylight) -> float:
    """Where outdoor illuminance (lx) stands between `dark` and `bright`, 0…1, on the config's scale."""
    if outdoor <= daylight.dark:
        return 0.0
    if outdoor >= daylight.bright:
        return 1.0
    if daylight.scale == "linear":
        return (outdoor - daylight.dark) / (daylight.bright - daylight.dark)
    return math.log(outdoor / daylight.dark) / math.log(daylight.bright / daylight.dark)


def level_of(steps: tuple[Step, ...], *, switched: bool) -> float:
    """The level that the steps lead to; a switched lamp that is on burns at full."""
    level = 0.0
    for step in reversed(steps):
        if not isinstance(step, White | Coloured):
            level = _level(step)
            break
    return (1.0 if level > 0 else 0.0) if switched else level


def _level(step: Step) -> float:
    return 0.0 if isinstance(step, Unnamed | PutOut | White | Coloured) else step.level


# ---- a scene's own values --------------------------------------------------------------------------------------------


def work_out(
    scene: Scene, name: str, room: Room, lamps: tuple[Fixture, ...], setting: Setting
) -> dict[str, tuple[Step, ...]]:
    """For every lamp the steps from its value in the scene to the level before presence and warning have their share;
    `level_of` reads the level off the last.
    """
    steps: dict[str, tuple[Step, ...]] = {}
    maintaining: list[Fixture] = []
    for lamp in lamps:
        value = scene.get(lamp.name)
        if isinstance(value, Maintain):
            maintaining.append(lamp)
        elif value is None:
            steps[lamp.name] = (Unnamed(),)
        else:
            steps[lamp.name] = _settled(lamp, value, _chosen(value, lamp, setting), name, setting)
    if maintaining:
        first = maintained(scene, maintaining, room, _others(steps, room, lamps), setting)
        for lamp in maintaining:
            steps[lamp.name] = _settled(lamp, scene[lamp.name], (first,), name, setting)
    return steps


def _others(steps: Mapping[str, tuple[Step, ...]], room: Room, lamps: tuple[Fixture, ...]) -> float:
    """What the scene's other lamps bring to the task plane, lx."""
    lit = ((lamp, level_of(steps[lamp.name], switched=lamp.kind == "switched")) for lamp in lamps if lamp.name in steps)
    return illuminance.together(room, lit)


def maintained(scene: Scene, lamps: list[Fixture], room: Room, fixed: float, setting: Setting) -> Maintains:
    """The one output at which all lamps of the scene burn that maintain its illuminance. `fixed`: lx of the others."""
    lux = next(value.lux for value in scene.values() if isinstance(value, Maintain))
    wanted = lux * (1 + setting.bias) ** 2
    full = sum(illuminance.full(lamp, room) or 0.0 for lamp in lamps)
    missing = wanted - setting.here.daylight - fixed
    output = min(1.0, max(0.0, missing / full)) if full > 0 else 1.0
    here = setting.here
    return Maintains(lux, setting.bias, wanted, here.daylight, here.by, fixed, full, output, math.sqrt(output))


def _chosen(value: Fixed | Follow, lamp: Fixture, setting: Setting) -> tuple[Step, ...]:
    first = _follows(value, setting) if isinstance(value, Follow) else Base(value.level)
    if not setting.bias or lamp.kind == "switched":
        return (first,)
    return (first, Biased(setting.bias, min(1.0, max(0.0, first.level * (1 + setting.bias)))))


def _follows(value: Follow, setting: Setting) -> Follows:
    daylight, outdoor = setting.daylight, setting.here.outdoor
    share = share_of_daylight(outdoor, daylight)
    # Weighed like this and not first + share · (second - first): at share 1 that need not be the second exactly.
    level = (1 - share) * value.first + share * value.second
    return Follows(value.first, value.second, outdoor, share, daylight.dark, daylight.bright, daylight.scale, level)


def _settled(lamp: Fixture, value: Value, steps: tuple[Step, ...], name: str, setting: Setting) -> tuple[Step, ...]:
    """What becomes of a lamp that daylight alone would put out. On its way there it goes no lower than it rests."""
    if not _can_be_put_out(value):
        return steps
    level, latch = _level(steps[-1]), setting.here.latches.get(key(name, lamp))
    if latch is not None and latch.off and not setting.never_dark:
        return (*steps, PutOut())
    if level >= RESTING:
        return steps
    if setting.never_dark:
        return (*steps, Rested(RESTING))
    first = steps[0]
    if latch is None and level == 0 and (not isinstance(first, Maintains) or _ample(first)):
        return (*steps, PutOut())
    until = None if latch is None or latch.since is None else latch.since.wall + REST_MS * 1_000
    return (*steps, Rested(RESTING, "daylight", until))


def _can_be_put_out(value: Value) -> bool:
    """Is there daylight in which the value alone would be dark, and some in which it is lit?"""
    if isinstance(value, Follow):
        return (value.first > 0) is not (value.second > 0)
    return isinstance(value, Maintain)


# ---- latches ---------------------------------------------------------------------------------------------------------


def key(scene: str, lamp: Fixture) -> str:
    return f"{scene}/{lamp.name}"


def latched(value: Value, steps: tuple[Step, ...], latch: Latch | None, now: Now) -> Latch | None:
    """A lamp's latch after its scene's steps. None: daylight cannot put it out."""
    match value, steps[0]:
        case Follow(), Follows(share=share) if _can_be_put_out(value):
            distance = share if value.first == 0 else 1 - share
            does, may = distance == 0, distance < COMES_BACK_SHARE
        case Maintain(), Maintains() as first:
            does, may = _ample(first), first.daylight >= first.wanted
        case _:
            return None
    if latch is None:
        return Latch(off=does)
    if latch.off:
        return latch if may else Latch()
    if not does:
        return Latch()
    since = latch.since or now
    return Latch(since, off=now.steady - since.steady >= REST_MS)


def _ample(step: Maintains) -> bool:
    return step.daylight >= AMPLE * step.wanted


# ---- what comes after the scene's own value --------------------------------------------------------------------------


def partial(level: float, lamp: Fixture, auto_on: float) -> Iterator[Step]:
    """Presence alone may bring only a share of the scene; a relay it lights only where it brings the whole."""
    if auto_on != 1:
        if lamp.kind != "switched":
            yield Partial(auto_on, level * auto_on)
        elif level > 0:
            yield Partial(auto_on, 0.0)


def warned(level: float, lamp: Fixture, warn: float) -> Iterator[Step]:
    """A warning takes a part of the light away; a relay knows none."""
    if warn != 1 and lamp.kind != "switched":
        yield Warned(warn, level * warn)
