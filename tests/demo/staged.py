"""Stages that nothing runs on: a building at a standstill, with what was heard of its rooms put there by hand."""

from collections.abc import Mapping
from datetime import date
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

from rich.console import Console

from leerie.cli.demo.canvas import Canvas, _style
from leerie.cli.demo.screen import Screen
from leerie.cli.demo.stage import Stage
from leerie.config.building import Building
from leerie.daylight import civil
from leerie.fixtures.lamp import Lamp
from leerie.runtime.clock import Clock

SLOW = 0.0001
EIGHT = 8 * 3600
PLAIN, HOUSE = (80, 24), (120, 40)
"""Columns and lines that show rows, and those that show the house cut open."""


def staged(building: Building, second: int = EIGHT, day: date = date(2026, 1, 12)) -> Stage:
    """A building at that second of a winter Monday; not connected to anything."""
    start = civil.moment(ZoneInfo(building.site.timezone), day, second)
    stage = Stage(building, Clock(SLOW, start), seed=1)
    stage.sky = {"day_part": "morning", "sun_elevation": -5.317, "outdoor_lux": 12.3, "cloud": 0.62}
    for room in building.rooms:
        stage.rooms[room] = state(building, room)
    return stage


def state(building: Building, room: str, **changes: Any) -> Mapping[str, Any]:
    lamps = {
        name: {"on": True, "level": 0.5, "kelvin": 3000 if building.fixtures[name].kelvin else None}
        for name in building.rooms[room].fixtures
    }
    plain = {"state": "occupied", "until": None, "hold": None, "fixtures": lamps, "faults": []}
    return {**plain, "because": [f"occupied: {room} is in use", "day part morning since 06:30"], **changes}


def lit(stage: Stage, fixture: str, level: float, kelvin: int | None = 2700) -> None:
    """The lamp is told so, and shines."""
    for topic, payload in Lamp(stage.building.fixtures[fixture]).messages(level, kelvin, 0):
        stage.take(topic, payload)


def canvas(stage: Stage, size: tuple[int, int]) -> Canvas:
    return Screen(stage).drawn(*size)


def lines(stage: Stage, size: tuple[int, int]) -> list[str]:
    return ["".join(cell.text for cell in line) for line in canvas(stage, size).lines]


def printed(stage: Stage, size: tuple[int, int], system: Any = None) -> str:
    """As it goes to a terminal with such colours."""
    _style.cache_clear()  # a style remembers the first terminal's spelling of it
    out = StringIO()
    console = Console(
        file=out, width=size[0], height=size[1], force_terminal=system is not None, color_system=system, _environ={}
    )
    console.print(Screen(stage), end="")
    return out.getvalue()
