"""Checks of one sensor."""

from collections.abc import Iterator

from leerie.config import matches
from leerie.config.devices import Bounds, Online, Sensor
from leerie.config.problems import Flaw, Path

_COMMON = ("kind", "topic", "pointer", "alive", "online", "battery")
_PRESENCE = (*_COMMON, "present", "absent", "stuck", "clears", "rests")
_KEYS = {
    "presence": _PRESENCE,
    "motion": _PRESENCE,
    "door": (*_COMMON, "present", "absent", "stuck"),
    "button": (*_COMMON, "does"),
}


def sensor_flaws(path: Path, sensor: Sensor) -> Iterator[Flaw]:
    known = _KEYS[sensor.kind]
    for key in Sensor.model_fields:
        if getattr(sensor, key) is not None and key not in known:
            yield Flaw((*path, key), f"does not go with kind {sensor.kind}", f"known there: {', '.join(known)}")
    if sensor.kind == "button" and not sensor.does:
        yield Flaw((*path, "does"), "is missing", 'what each value does, as in { short = "ask light" }')
    elif sensor.kind != "button":
        yield from _matches(path, sensor.kind, sensor)
    if sensor.online:
        yield from _matches((*path, "online"), "presence", sensor.online)


def _matches(path: Path, kind: str, table: Sensor | Online) -> Iterator[Flaw]:
    present, absent = matches.pair(kind, table.present, table.absent)
    bad = False
    for key, given, match in (("present", table.present, present), ("absent", table.absent, absent)):
        if isinstance(given, Bounds) and not given.model_fields_set:
            bad = True
            yield Flaw((*path, key), "names no bound", "at_least or above, at_most or below")
        elif matches.empty(match):
            bad = True
            yield Flaw((*path, key), "no number lies within these bounds", "the lower below the upper")
    both = None if bad else matches.overlap(present, absent)
    if both is not None:
        key = "absent" if table.absent is not None else "present"
        yield Flaw((*path, key), f"{both} would mean present and absent", "each value in one of them")
