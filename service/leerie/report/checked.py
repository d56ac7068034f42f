"""What a check found, for other programs."""

from collections.abc import Iterable
from datetime import date, tzinfo
from typing import Any

from leerie.ahead import Stretch, Year
from leerie.config.building import Fixture, Room, Sensor
from leerie.config.problems import Problem
from leerie.report import scene
from leerie.report.figures import timestamp
from leerie.report.week import clocks


def refused(errors: Iterable[Problem], day: date | None) -> dict[str, Any]:
    """Of a config that cannot be used: what is wrong with it, and nothing else is known."""
    empty: dict[str, Any] = {"day_parts": [], "rooms": [], "fixtures": [], "sensors": []}
    told = [_problem(error) for error in errors]
    return {"errors": told, "warnings": [], "date": None if day is None else str(day), **empty}


def accepted(year: Year, warnings: Iterable[Problem]) -> dict[str, Any]:
    building = year.building
    return {
        "errors": [],
        "warnings": [_problem(warning) for warning in warnings],
        "date": str(year.days[0]),
        "day_parts": [{"name": part, "starts": timestamp(at, year.zone)} for part, at in year.begins(year.days[0])],
        "rooms": [_room(year, room) for room in building.rooms.values()],
        "fixtures": [_fixture(lamp) for lamp in building.fixtures.values()],
        "sensors": [_sensor(sensor) for sensor in building.sensors.values()],
    }


def _problem(found: Problem) -> dict[str, Any]:
    guess = found.nearest and f"did you mean {found.nearest}?"
    allowed = "; ".join(each for each in (found.allowed, guess) if each)
    return {"file": found.file, "line": found.line, "key": found.key, "problem": found.problem, "allowed": allowed}


def _room(year: Year, room: Room) -> dict[str, Any]:
    week = [
        {"dates": [str(day) for day in days], "day_parts": [_stretch(each, year.zone) for each in stretches]}
        for days, stretches in year.week(room).items()
    ]
    return {
        "name": room.name,
        "sensors": room.rules.sensors,
        "keep": room.rules.keep,
        "fixtures": room.fixtures,
        "week": week,
        "scenes": {part: scene.lamps(year.building, lights) for part, lights in room.scenes.items()},
        "melanopic_edi": dict(scene.melanopic_lux(year.building, room)),
    }


def _stretch(found: Stretch, zone: tzinfo) -> dict[str, Any]:
    begins, ends = clocks(found, zone)
    return {"name": found.part, "from": begins, "to": ends}


def _fixture(lamp: Fixture) -> dict[str, Any]:
    curve = lamp.curve if lamp.response is None else "response"
    return {"name": lamp.name, "kind": lamp.kind, "curve": curve, "trim": lamp.trim, "kelvin": lamp.kelvin}


def _sensor(sensor: Sensor) -> dict[str, Any]:
    return {"name": sensor.name, "kind": sensor.kind, "topic": sensor.topic}
