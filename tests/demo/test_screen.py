"""What the demo shows: every room with its state, its lamps and the reason, on 80 columns and 24 lines and on more."""

from collections.abc import Mapping
from datetime import date
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from rich.cells import cell_len
from rich.console import Console

from leerie.cli.demo.screen import Screen
from leerie.cli.demo.stage import Stage
from leerie.config.building import Building
from leerie.daylight import civil
from leerie.fixtures.lamp import Lamp as Sender
from leerie.runtime.clock import Clock

SLOW = 0.0001
EIGHT = 8 * 3600


@pytest.fixture
def stage(example: Building) -> Stage:
    """The example on a winter Monday at eight, with two makers' mornings under way; not connected to anything."""
    start = civil.moment(ZoneInfo(example.site.timezone), date(2026, 1, 12), EIGHT)
    stage = Stage(example, Clock(SLOW, start), seed=1)
    stage.sky = {"day_part": "morning", "sun_elevation": -5.317, "outdoor_lux": 12.3, "cloud": 0.62}
    for room in example.rooms:
        stage.rooms[room] = _state(example, room)
    return stage


def _state(building: Building, room: str, **changes: Any) -> Mapping[str, Any]:
    lamps = {
        name: {"on": True, "level": 0.5, "kelvin": 3000 if building.fixtures[name].kelvin else None}
        for name in building.rooms[room].fixtures
    }
    plain = {"state": "occupied", "until": None, "fixtures": lamps, "because": [f"{room} is in use"], "faults": []}
    return {**plain, **changes}


def _drawn(stage: Stage, width: int, height: int, *, colours: bool = False) -> list[str]:
    out = StringIO()
    system = "truecolor" if colours else None
    console = Console(file=out, width=width, height=height, force_terminal=colours, color_system=system, _environ={})
    console.print(Screen(stage), end="")
    return out.getvalue().split("\n")


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40), (200, 60)])
def test_every_room_is_seen_whole_with_its_reason(stage: Stage, width: int, height: int) -> None:
    lines = _drawn(stage, width, height)
    assert len(lines) <= height
    assert all(cell_len(line) <= width for line in lines)
    for room in stage.building.rooms:
        (row,) = [number for number, line in enumerate(lines) if line.startswith(f" {room} ")]
        assert "occupied" in lines[row]
        assert f"{room} is in use" in lines[row + 1]


def test_the_head_tells_the_building_the_day_the_hour_and_the_sky(stage: Stage) -> None:
    head = "\n".join(_drawn(stage, 80, 24)[:3])
    assert all(
        part in head for part in ("Saltmarket violin workshop", "Mon 12 Jan 2026", "08:00", "-5.3°", "12.3 lx", "62%")
    )


def test_the_foot_tells_how_to_look_on(stage: Stage) -> None:
    foot = _drawn(stage, 80, 24)[-1]
    assert "mosquitto_sub -p 1883 -v -t 'leerie/#'" in foot
    assert "Ctrl-C" in foot


@pytest.mark.parametrize(("width", "height"), [(80, 12), (40, 10), (20, 4), (10, 1)])
def test_a_small_terminal_shows_less_and_breaks_nothing(stage: Stage, width: int, height: int) -> None:
    lines = _drawn(stage, width, height)
    assert 0 < len(lines) <= height
    assert all(cell_len(line) <= width for line in lines)


def test_before_anything_is_heard_the_rooms_stand_there_already(stage: Stage) -> None:
    stage.rooms.clear()
    stage.sky = {}
    drawn = "\n".join(_drawn(stage, 80, 24))
    assert drawn.count("not heard yet") == len(stage.building.rooms)


def test_a_state_that_ends_says_when(stage: Stage) -> None:
    """In the building's own time: 08:51 in Glasgow in winter is 08:51 UTC, and 09:51 of an offset of one hour."""
    stage.rooms["kitchen"] = _state(stage.building, "kitchen", state="grace", until="2026-01-12T09:51:07+01:00")
    (row,) = [line for line in _drawn(stage, 80, 24) if line.startswith(" kitchen ")]
    assert "grace" in row
    assert "08:51" in row


def test_in_a_hands_off_hold_no_level_is_claimed(stage: Stage) -> None:
    stage.rooms["kitchen"] = _state(stage.building, "kitchen", state="hold", fixtures=None)
    (row,) = [line for line in _drawn(stage, 80, 24) if line.startswith(" kitchen ")]
    assert "0.50" not in row
    assert "ceiling –" in row


def test_a_fault_stands_before_the_reasons(stage: Stage) -> None:
    faults = [{"text": "workshop_pir silent for 26 h"}]
    stage.rooms["workshop"] = _state(stage.building, "workshop", faults=faults)
    assert any("workshop_pir silent for 26 h · workshop is in use" in line for line in _drawn(stage, 80, 24))


def test_people_are_shown_where_they_are(stage: Stage) -> None:
    people = {room: stage.people_in(room) for room in stage.building.rooms}
    assert sum(people.values()) >= 1
    for room, count in people.items():
        (row,) = [line for line in _drawn(stage, 80, 24) if line.startswith(f" {room} ")]
        assert row.count("▲") == count


def test_a_lamp_is_drawn_in_its_own_light(stage: Stage) -> None:
    """Warm white has more red than blue, and half the level is darker than the whole."""
    fixture = stage.building.fixtures["kitchen_ceiling"]
    shades = []
    for level in (1.0, 0.5):
        for topic, payload in Sender(fixture).messages(level, 2700, 0):
            stage.take(topic, payload)
        (row,) = [line for line in _drawn(stage, 80, 24, colours=True) if "kitchen" in line and "▕██▏" in line]
        red, green, blue = map(int, row.partition("▕██▏")[0].rpartition("38;2;")[2].rstrip("m").split(";"))
        assert red > green > blue
        shades.append(red)
    assert shades[0] > shades[1]
