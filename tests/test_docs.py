"""What people read is true of the code: nothing it offers goes unmentioned, nothing copied has grown stale."""

import argparse
import importlib
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

import write_docs
from core.walker import Walker, instant
from leerie import report
from leerie.cli.main import COMMANDS
from leerie.config import load
from leerie.fixtures.lamp import Lamp
from leerie.intake.intake import Intake
from leerie.runtime.metrics import Metrics

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
EXAMPLE = (ROOT / "config.example.toml").read_text(encoding="utf-8")
SERVICE = ROOT / "service" / "leerie"


def _options(command: str) -> list[str]:
    parser = argparse.ArgumentParser(add_help=False)
    importlib.import_module(f"leerie.cli.{command}").add(parser)
    return [option for action in parser._actions for option in action.option_strings]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_and_option_is_in_the_readme(command: str) -> None:
    assert f"leerie {command}" in README
    assert [option for option in _options(command) if option not in README] == []


def _schema() -> dict[str, Any]:
    printed = subprocess.run(
        [sys.executable, "-m", "leerie.config", "schema"], capture_output=True, text=True, check=True, cwd=ROOT
    )
    schema: dict[str, Any] = json.loads(printed.stdout)
    return schema


def _keys(schema: object) -> Iterator[str]:
    """Every key that a table of the config may have."""
    if isinstance(schema, dict):
        yield from schema.get("properties", {})
    children = schema.values() if isinstance(schema, dict) else schema if isinstance(schema, list) else ()
    for child in children:
        yield from _keys(child)


def test_every_config_key_is_described() -> None:
    keys = dict.fromkeys(_keys(_schema()))
    assert "grace" in keys
    texts = README + EXAMPLE
    assert [key for key in keys if not re.search(rf"\b{re.escape(key)}\b", texts)] == []


def test_the_packaged_example_is_the_one_that_is_shown() -> None:
    assert (SERVICE / "config" / "example.toml").read_text(encoding="utf-8") == EXAMPLE


def _topics() -> Iterator[str]:
    """Those leerie listens to, as it subscribes to them; those it publishes, as the code spells them."""
    example = load(SERVICE / "config" / "example.toml", {}).building
    for topic in Intake(example).filters():
        if topic.startswith("leerie/"):
            yield re.sub(r"^leerie/room/[^/]*", "leerie/room/ROOM", topic)
    for path in (SERVICE / "runtime").glob("*.py"):
        source = path.read_text(encoding="utf-8")
        for levels in re.findall(r"self\._topic\(([^)]*)\)", source):
            names = [level.strip().strip('"') if '"' in level else "ROOM" for level in levels.split(",")]
            yield "/".join(["leerie", *names])
        for level in re.findall(r'f"\{[a-z_.]*topics\}/([a-z]+)"', source):
            yield f"leerie/{level}"


def test_every_own_topic_is_in_the_readme() -> None:
    topics = dict.fromkeys(topic for topic in _topics() if "#" not in topic)
    assert {"leerie/room/ROOM/ask", "leerie/room/ROOM/state", "leerie/service"} <= set(topics)
    assert [topic for topic in topics if f"`{topic}`" not in README] == []


def test_every_metric_is_in_the_readme() -> None:
    endings = {"counter": "_total", "info": "_info"}
    example = load(SERVICE / "config" / "example.toml", {}).building
    families = list(Metrics(example).registry.collect())
    assert len(families) >= 10
    metrics = [family.name + endings.get(family.type, "") for family in families]
    assert [metric for metric in metrics if f"`{metric}`" not in README] == []


def test_the_tables_are_the_codes() -> None:
    """`.venv/bin/python tests/write_docs.py` brings them up to date."""
    assert write_docs.with_tables(DEVELOPERS) == DEVELOPERS


def test_every_room_of_the_house_is_described() -> None:
    rooms = [path for path in SERVICE.iterdir() if not path.name.startswith("__")]
    names = [f"`{path.name}`" if path.suffix else f"`{path.name}/`" for path in rooms]
    assert [name for name in names if name not in DEVELOPERS] == []


def test_every_dependency_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(d for extra in project["optional-dependencies"].values() for d in extra)]
    names = [re.split(r"[<>=!~\[ ;]", dependency, maxsplit=1)[0] for dependency in wanted]
    assert [name for name in names if not re.search(rf"^\| {re.escape(name)} \| \S", DEVELOPERS, re.MULTILINE)] == []


@pytest.mark.parametrize("command", re.findall(r"^    (python3 -m venv .*)$", README, re.MULTILINE))
def test_the_readmes_commands_are_one_line_each_and_ci_runs_the_tests_one(command: str) -> None:
    """Two lines lead from a fresh clone to a demo and to the tests; CI runs the second, word for word."""
    assert command.endswith(("leerie demo", "pytest -n auto"))
    if command.endswith("pytest -n auto"):
        assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def _toml_blocks() -> list[str]:
    return re.findall(r"^```toml\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def test_the_first_hours_config_and_transcript_are_true(tmp_path: Path) -> None:
    """What the README says the lamp is told is what leerie tells it: lit, warned at half the level, off."""
    (tmp_path / "leerie.toml").write_text(_toml_blocks()[0], encoding="utf-8")
    building = load(tmp_path / "leerie.toml", {}).building
    lamp = building.fixtures["hall_lamp"]
    warned = 0.8 * building.rooms["hall"].rules.warn_level
    for level, kelvin in ((0.8, 4000), (warned, 4000), (0, building.site.kelvin)):
        for topic, payload in Lamp(lamp).messages(level, kelvin, lamp.fade_up_ms):
            assert f"\n{topic} {payload.decode()}\n" in README


def test_the_reasons_that_the_readme_follows_are_leeries_own(tmp_path: Path) -> None:
    """Each sentence, and what the lamp is told, of the walked example; then the sentence of a lamp with lux."""
    config, daylight = _toml_blocks()
    trim = "trim = [0.08, 0.80]"
    follow = "day = { hall_lamp = { follow = [0.35, 1.0], kelvin = { sun = [2700, 4000] } } }"
    assert f"`{trim}`" in README
    assert f"`{follow}`" in README
    config = config.replace("[rooms.hall]", f"{trim}\n\n[rooms.hall]")
    config = re.sub(r"^day = .*$", follow, config, flags=re.MULTILINE) + daylight
    (tmp_path / "leerie.toml").write_text(config, encoding="utf-8")
    hall = Walker(load(tmp_path / "leerie.toml", {}).building, now=instant("2026-03-02T08:41:00+00:00"))
    hall.say("weather/cloud", "90")
    hall.forget()
    hall.say("hall/motion", "on")
    told = [f"{publish.topic} {publish.payload.decode()}" for _, publish in hall.published]
    workshop = Walker(load(ROOT / "config.example.toml", {}).building, now=instant("2026-03-02T10:00:00+00:00"))
    workshop.say("weather/now", '{"cloud": 90}')
    workshop.say("workshop/wall", '{"press": "short"}')
    zone = ZoneInfo("Europe/London")
    bench = [line for line in report.because(workshop.views["workshop"].because, zone) if line.startswith("bench: ")]
    assert len(told) == len(bench) == 1
    sentences = [*report.because(hall.views["hall"].because, zone), *told, *bench]
    assert [sentence for sentence in sentences if f"\n{sentence}\n" not in README] == []


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "deploy/README.md"])
def test_what_a_document_points_to_is_there(document: str) -> None:
    path = ROOT / document
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8"))
    assert [link for link in links if "://" not in link and not (path.parent / link).exists()] == []
