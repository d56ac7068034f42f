"""The demo without a terminal: one line for each change, so that it can be piped, searched and kept."""

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from leerie.cli.demo.stage import Stage
from leerie.daylight import civil

STEP = 0.05
"""Smaller moves of a lamp, as daylight comes and goes, are no line's worth."""


class Lines:
    """Prints what is new about a room."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._zone = ZoneInfo(stage.building.site.timezone)
        self._last: dict[str, tuple[str, dict[str, float]]] = {}

    def heard(self, room: str) -> None:
        """A room's state has come."""
        state = self._stage.rooms[room]
        lamps = state["fixtures"]
        levels = {name: lamp["level"] if lamp else -1.0 for name, lamp in (lamps or {}).items()}
        last = self._last.get(room)
        if last is not None and last[0] == state["state"] and _alike(last[1], levels):
            return
        self._last[room] = (state["state"], levels)
        local = civil.local(self._zone, self._stage.wall())
        light = "hands off" if lamps is None else ", ".join(map(self._light, lamps, lamps.values()))
        why = next(iter(state["because"]), "")
        print(f"{local:%a %H:%M:%S}  {room:<13} {state['state']:<9} {light}  ({why})", flush=True)

    def _light(self, name: str, lamp: Mapping[str, Any] | None) -> str:
        if lamp is None:
            return f"{name} ?"
        if not lamp["on"]:
            return f"{name} off"
        if self._stage.building.fixtures[name].kind == "switched":
            return f"{name} on"
        return f"{name} {lamp['level']:.2f}" + (f" {lamp['kelvin']} K" if lamp["kelvin"] else "")


def _alike(before: Mapping[str, float], after: Mapping[str, float]) -> bool:
    return before.keys() == after.keys() and all(
        abs(before[name] - level) < STEP and (before[name] > 0) == (level > 0) for name, level in after.items()
    )
