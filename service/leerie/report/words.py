"""A sentence for each reason: why a room is as it is, and how each lamp's light came about."""

from collections.abc import Callable, Iterable
from datetime import tzinfo
from typing import TypeAlias

from leerie.daylight.civil import local
from leerie.notes import (
    AskReason,
    Base,
    Biased,
    Follows,
    Held,
    HoldReason,
    LampReason,
    Partial,
    PartReason,
    Reason,
    Rested,
    StateReason,
    Unnamed,
    UntouchedReason,
    Warned,
    White,
)
from leerie.report.figures import illuminance

_Clock: TypeAlias = Callable[[int], str]

_STATES = {
    "present": "{sensor} present since {since}",
    "enclosed": "{sensor} present behind shut doors, and none has opened since {since}",
    "no_sensors": "always in use, it has no sensors to tell",
    "blind": "every sensor out since {since}, if_blind decides",
    "ended": "nobody present since {since}",
    "asked": "asked for at {since}, nobody present",
    "started": "started at {since} without memory, no sensor has spoken",
    "time_up": "nobody came back, the grace ended at {since}",
}
_HANDS = {"topic": "by message", "button": "by button", "hand": "by hand"}
_OWNERS = {"hold": "the hold's", "scene": "the scene's", "part": "the day part's", "site": "the site's"}


def because(reasons: Iterable[Reason], zone: tzinfo) -> list[str]:
    """A sentence for each reason. A time stands with its date unless that is the latest of which the reasons speak."""
    reasons = tuple(reasons)
    starts = [since for reason in reasons if (since := _since(reason)) is not None]
    today = local(zone, max(starts, default=0)).date()

    def clock(wall: int) -> str:
        read = local(zone, wall)
        return f"{read:%H:%M}" if read.date() == today else f"{read:%Y-%m-%d %H:%M}"

    return [_sentence(reason, clock) for reason in reasons]


def _since(reason: Reason) -> int | None:
    return None if isinstance(reason, UntouchedReason | LampReason) else reason.since


def _sentence(reason: Reason, clock: _Clock) -> str:
    match reason:
        case StateReason():
            why = _STATES[reason.cause].format(sensor=reason.sensor, since=clock(reason.since))
            return f"{reason.occupancy}: {why}"
        case PartReason():
            since = "" if reason.since is None else f" since {clock(reason.since)}"
            return "no day part holds" if reason.part is None else f"day part {reason.part}{since}"
        case HoldReason():
            white = "" if reason.kelvin is None else f", {reason.kelvin} K"
            what = "hands off" if reason.level is None else f"{_level(reason.level)}{white}"
            return f"held {_HANDS[reason.by]} since {clock(reason.since)}: {what}"
        case AskReason():
            scene = "" if reason.scene is None else f": scene {reason.scene}"
            return f"{'light' if reason.light else 'dark'} asked for at {clock(reason.since)}{scene}"
        case UntouchedReason():
            return "started without memory: lamps stay as they are until a sensor speaks or the grace is over"
        case LampReason():
            return _lamp(reason)


def _lamp(reason: LampReason) -> str:
    steps = ", ".join(_step(step, switched=reason.switched) for step in reason.steps if not isinstance(step, White))
    whites = [_white(step) for step in reason.steps if isinstance(step, White)]
    light = "on" if reason.switched and reason.level > 0 else _level(reason.level)
    return f"{reason.lamp}: {steps} → {', '.join([light, *whites])}"


def _step(  # noqa: PLR0911 - a line for each kind of step, and the type checker sees that none is missing
    step: Base | Unnamed | Follows | Held | Biased | Partial | Warned | Rested, *, switched: bool
) -> str:
    match step:
        case Base():
            return f"{step.level:.2f} in the scene"
        case Unnamed():
            return "not lit by the scene"
        case Follows():
            outdoor = f"outdoor {illuminance(step.outdoor)} lx is {100 * step.share:.0f} % of the way"
            span = f"from {step.dark:.10g} to {step.bright:.10g} lx ({step.scale})"
            return f"follows daylight {step.first:.2f}–{step.second:.2f}, {outdoor} {span}"
        case Held():
            return f"held at {step.level:.2f}"
        case Biased():
            return f"× {1 + step.bias:.2f} by a bias of {step.bias:+.2f}".replace("-", "−")
        case Partial():
            return "presence alone lights no switch" if switched else f"× {step.auto_on:.2f} by presence alone"
        case Warned():
            return f"× {step.share:.2f} as a warning"
        case Rested():
            return "at low-end trim, an escape route is never dark"


def _white(step: White) -> str:
    if step.kelvin != step.wanted:
        return f"{step.kelvin} K (the lamp's limit, {_OWNERS[step.source]} is {step.wanted} K)"
    return f"{step.kelvin} K" if step.source == "scene" else f"{step.kelvin} K ({_OWNERS[step.source]})"


def _level(level: float) -> str:
    """A level beside its share of the lamp's light, x = level² (IES square law)."""
    if level <= 0:
        return "off"
    percent = 100 * level * level
    share = f"{percent:.0f}" if percent >= 1 else f"{percent:.1g}" if percent >= 0.01 else "under 0.01"
    return f"level {'under 0.01' if level < 0.005 else f'{level:.2f}'} ({share} % of its light)"
