"""One sensor in one room: what a message does to it, and what time does."""

from collections.abc import Iterator
from typing import Literal, TypeAlias

from msgspec.structs import replace

from leerie.config.building import Sensor
from leerie.intake.inputs import Said
from leerie.now import Now
from leerie.occupancy.records import Ended, Sensed

Lapse: TypeAlias = Literal["cleared", "stuck", "silent"]
"""What time alone does to a sensor."""


def hear(sensed: Sensed, sensor: Sensor, said: Said, now: Now) -> tuple[Sensed, bool]:
    """Take a value. Returns the sensor as it is now, and whether the value is evidence.

    A retained value that equals the remembered one is no evidence: the broker only told us again.
    """
    gone = sensed.gone if said.retained else None
    alive = replace(sensed, heard=now, silent=None, gone=gone)
    if said.retained and sensed.said is said.present:
        return alive, False
    after, evidence = _door(alive, said, now) if sensor.kind == "door" else _eye(alive, sensor, said, now)
    if gone is not None:
        # What the broker kept of a sensor that is gone is its last word, not news of anybody.
        return end_presence(after, "out", now), False
    return after, evidence


def _eye(alive: Sensed, sensor: Sensor, said: Said, now: Now) -> tuple[Sensed, bool]:
    if not said.present:
        return replace(alive, said=False, ended=None), False
    if sensor.kind == "presence" and alive.ended is not None and alive.ended.why == "stuck":
        return replace(alive, last=now), False
    first = alive.first if alive.present else now
    return replace(alive, said=True, first=first, last=now, ended=None), True


def _door(alive: Sensed, said: Said, now: Now) -> tuple[Sensed, bool]:
    if alive.said is said.present:
        return alive, False
    moved = replace(alive, said=said.present, first=now, last=now, ended=None)
    return moved, said.present and not said.retained


def reported_online(sensed: Sensed, online: bool, now: Now) -> Sensed:
    """Take what the sensor's online topic says."""
    if online:
        return replace(sensed, gone=None, heard=now, silent=None)
    if sensed.gone is not None:
        return sensed
    return end_presence(replace(sensed, gone=now), "out", now)


def reported_battery(sensed: Sensed, low: bool, now: Now) -> Sensed:
    """Take what the sensor's battery says; a low battery is a fault, never a change of light."""
    since = (sensed.low or now) if low else None
    return replace(sensed, low=since, heard=now, silent=None)


def end_presence(sensed: Sensed, why: Literal["cleared", "stuck", "part", "out"], now: Now) -> Sensed:
    """Its presence, if any, is over although it has not said so."""
    return replace(sensed, ended=Ended(why, now)) if sensed.present else sensed


def lapses(sensed: Sensed, sensor: Sensor) -> Iterator[tuple[int, Lapse]]:
    """The steady milliseconds at which time alone will change this sensor."""
    if sensor.kind in ("presence", "motion") and sensed.present:
        if sensor.clears_ms is not None and sensed.last is not None:
            yield sensed.last.steady + sensor.clears_ms, "cleared"
        # A motion sensor proves with every pulse that it is not stuck; a presence sensor only by saying absent.
        start = sensed.last if sensor.kind == "motion" else sensed.first
        if start is not None:
            yield start.steady + sensor.stuck_ms, "stuck"
    if sensor.alive_ms is not None and sensed.silent is None:
        yield _silence_counts_from(sensed) + sensor.alive_ms, "silent"


def _silence_counts_from(sensed: Sensed) -> int:
    return max(since.steady if since is not None else 0 for since in (sensed.heard, sensed.awaited))


def lapse(sensed: Sensed, what: Lapse, at: Now) -> Sensed:
    """Let time do it."""
    if what == "silent":
        return end_presence(replace(sensed, silent=at), "out", at)
    return end_presence(sensed, what, at)
