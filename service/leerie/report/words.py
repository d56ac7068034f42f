"""A sentence for each reason: why a room is as it is."""

from collections.abc import Callable, Iterable
from datetime import tzinfo
from typing import TypeAlias

from leerie.daylight.civil import local
from leerie.reasons import (
    AskReason,
    HoldReason,
    LampReason,
    PartReason,
    Reason,
    SkyReason,
    StateReason,
    UntouchedReason,
)
from leerie.report import steps
from leerie.report.figures import lux

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
HANDS = {"topic": "by message", "button": "by button", "hand": "by hand"}
"""Who has taken a room over."""
_COVERS = {"sun": "assumed", "sun+cloud": "told", "sensor": "by the sensor's reading"}


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
    return None if isinstance(reason, UntouchedReason | LampReason | SkyReason) else reason.since


def _sentence(reason: Reason, clock: _Clock) -> str:  # noqa: PLR0911 - a line for each kind of reason
    match reason:
        case StateReason():
            why = _STATES[reason.cause].format(sensor=reason.sensor, since=clock(reason.since))
            return f"{reason.occupancy}: {why}"
        case PartReason(part, _, stand_in) if stand_in is not None:
            which = "the last one known" if stand_in == "last" else "the brightest"
            return f"the clock is not known to be right yet, so no day part holds: as in {part}, {which}"
        case PartReason():
            since = "" if reason.since is None else f" since {clock(reason.since)}"
            return "no day part holds" if reason.part is None else f"day part {reason.part}{since}"
        case HoldReason():
            white = "" if reason.kelvin is None else f", {reason.kelvin} K"
            what = "hands off" if reason.level is None else f"{steps.level(reason.level)}{white}"
            return f"held {HANDS[reason.by]} since {clock(reason.since)}: {what}"
        case AskReason():
            scene = "" if reason.scene is None else f": scene {reason.scene}"
            return f"{'light' if reason.light else 'dark'} asked for at {clock(reason.since)}{scene}"
        case UntouchedReason():
            return "started without memory: lamps stay as they are until a sensor speaks or the grace is over"
        case SkyReason():
            return _sky(reason)
        case LampReason():
            return steps.lamp(reason, clock)


def _sky(reason: SkyReason) -> str:
    """The light outdoors, from the sun on."""
    sun = f"sun {reason.elevation:.1f}° {'below' if reason.elevation < 0 else 'above'} the horizon".replace("-", "")
    clear = f"{sun}, {lux(reason.clear)} lx under a clear sky"
    cover = f"cloud {reason.cover:.2f} ({_COVERS[reason.source]})"
    if reason.source == "sensor":
        outdoor = f"the sensor says {lux(reason.newest)} lx, {cover}"
    else:
        outdoor = f"{cover} leaves {100 * reason.factor:.0f} %: {lux(reason.newest)} lx"
    goes_by = "" if lux(reason.outdoor) == lux(reason.newest) else f"; the room goes by {lux(reason.outdoor)} lx so far"
    return f"{clear}; {outdoor}, {lux(reason.diffuse)} lx of it from the sky{goes_by}"
