"""How each lamp's light came about, step by step, in words and with the numbers that a pocket calculator needs."""

from collections.abc import Callable
from typing import assert_never

from leerie.reasons import (
    Base,
    Biased,
    Blended,
    Coloured,
    Follows,
    Held,
    LampReason,
    Maintains,
    Partial,
    PutOut,
    Rested,
    Sent,
    Step,
    Unnamed,
    Warned,
    White,
)
from leerie.report.figures import lux

_OWNERS = {"hold": "the hold's", "scene": "the scene's", "part": "the day part's", "site": "the site's"}
_DAYLIGHTS = {"meter": "by the room's meter", "factor": "by the daylight factor"}


def lamp(reason: LampReason, clock: Callable[[int], str]) -> str:
    """From the scene's value to the lamp's level and white. `clock` tells a wall clock time (µs UTC)."""
    told = [_step(step, clock, switched=reason.switched) for step in reason.steps if not _is_shade(step)]
    blends = any(isinstance(step, Blended) for step in reason.steps)
    shades = [_shade(step, blends=blends) for step in reason.steps if isinstance(step, White | Coloured)]
    light = "on" if reason.switched and reason.level > 0 else level(reason.level)
    return f"{reason.lamp}: {', '.join(told)} → {', '.join([light, *shades])}"


def sent(found: Sent, *, switched: bool) -> str:
    """From the level to what goes out."""
    messages = "; ".join(f"{topic} ← {payload}" for topic, payload in found.messages)
    if found.output == 0 or switched:
        return f"{'on' if found.output else 'off'}: {messages}"
    low, high = found.trim
    how = f"{found.curve} curve, trim {low:.2f}–{high:.2f}"
    return f"{_percent(found.output)} of its light is {found.device:.4f} of the device's range ({how}): {messages}"


def level(value: float) -> str:
    """A level beside its share of the lamp's light, x = level² (IES square law)."""
    if value <= 0:
        return "off"
    return f"level {'under 0.01' if value < 0.005 else f'{value:.2f}'} ({_percent(value * value)} of its light)"


def _percent(share: float) -> str:
    percent = 100 * share
    return f"{f'{percent:.0f}' if percent >= 1 else f'{percent:.1g}' if percent >= 0.01 else 'under 0.01'} %"


def _is_shade(step: Step) -> bool:
    return isinstance(step, White | Coloured)


def _step(  # noqa: PLR0911, PLR0912, C901 - a line for each kind of step; the type checker sees that none is missing
    step: Step, clock: Callable[[int], str], *, switched: bool
) -> str:
    match step:
        case Base():
            return f"{step.level:.2f} in the scene"
        case Unnamed():
            return "not lit by the scene"
        case Follows():
            return _follows(step)
        case Maintains():
            return _maintains(step)
        case Held():
            return f"held at {step.level:.2f}{', above 0' if switched and step.level > 0 else ''}"
        case Biased():
            return f"× {1 + step.bias:.2f} by a bias of {step.bias:+.2f}".replace("-", "−")
        case Partial():
            return "presence alone lights no switch" if switched else f"× {step.auto_on:.2f} by presence alone"
        case Warned():
            return f"× {step.share:.2f} as a warning"
        case Rested():
            return _rested(step, clock)
        case PutOut():
            return "put out by daylight"
        case Blended():
            return _blended(step, clock)
        case White() | Coloured():
            return _shade(step)
        case _:
            assert_never(step)


def _follows(step: Follows) -> str:
    outdoor = f"outdoor {lux(step.outdoor)} lx is {100 * step.share:.0f} % of the way"
    span = f"from {step.dark:.10g} to {step.bright:.10g} lx ({step.scale})"
    return f"follows daylight {step.first:.2f}–{step.second:.2f}, {outdoor} {span}"


def _maintains(step: Maintains) -> str:
    wanted = f"maintains {step.lux:.10g} lx"
    if step.bias:
        wanted += f" × {1 + step.bias:.2f}² by a bias of {step.bias:+.2f}".replace("-", "−")
    there = f"{lux(step.daylight)} lx of daylight {_DAYLIGHTS[step.by]}"
    others = f" and {lux(step.fixed)} lx of other lamps" if step.fixed else ""
    missing = f"of {lux(step.full)} lx at full that leaves {_percent(step.output) if step.output else 'nothing'}"
    return f"{wanted}, less {there}{others}, {missing}"


def _rested(step: Rested, clock: Callable[[int], str]) -> str:
    if step.why == "never_dark":
        return "at low-end trim, daylight must not put it out"
    until = "" if step.until is None else f" until {clock(step.until)}"
    return f"daylight does, at low-end trim{until}"


def _blended(step: Blended, clock: Callable[[int], str]) -> str:
    ends = (
        f"{name} ({', '.join(_step(inner, clock, switched=False) for inner in steps)})"
        for name, steps in ((step.earlier, step.before), (step.part, step.after))
    )
    return f"{100 * step.share:.0f} % of the way from {' to '.join(ends)}"


def _shade(step: White | Coloured, *, blends: bool = False) -> str:
    """`blends`: between two day parts, so that it is nobody's own."""
    if isinstance(step, Coloured):
        return f"colour x {step.x:.4f} y {step.y:.4f}"
    sun = "" if step.elevation is None else f", with the sun at {step.elevation:.1f}°".replace("-", "−")
    if step.kelvin != step.wanted:
        return f"{step.kelvin} K (the lamp's limit, {_OWNERS[step.source]} is {step.wanted} K{sun})"
    whose = "on the way" if blends else "" if step.source == "scene" else _OWNERS[step.source]
    note = ", ".join(part for part in (whose, sun.removeprefix(", ")) if part)
    return f"{step.kelvin} K ({note})" if note else f"{step.kelvin} K"
