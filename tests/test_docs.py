"""What people read is true of the code: nothing it offers goes unmentioned, nothing copied has grown stale."""

import ast
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from itertools import takewhile
from pathlib import Path
from typing import Any, get_args
from zoneinfo import ZoneInfo

import pytest

import write_docs
from core.walker import Walker, instant
from leerie import report
from leerie.cli.main import COMMANDS
from leerie.config import load
from leerie.config.payload import PLACEHOLDERS
from leerie.fixtures.lamp import Lamp
from leerie.intake.intake import Intake
from leerie.notes import FaultCode, RefusalReason
from leerie.report.codes import FAULTS, REFUSALS
from leerie.runtime.log_events import EVENTS, FIELDS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
EXAMPLE = (ROOT / "config.example.toml").read_text(encoding="utf-8")
SERVICE = ROOT / "service" / "leerie"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_and_option_is_in_the_readme(command: str) -> None:
    """With what it takes and its help: the table is written from the parser, and here read back against it."""
    summary, *options = _rows_of(command)
    assert summary[0].startswith(f"`leerie {command}")
    assert summary[2] == COMMANDS[command]
    written = {word for _, spelling, _ in options for word in spelling.strip("`").split()}
    actions = [action for action in write_docs.arguments(command) if action.dest not in ("help", "config", "room")]
    assert [name for action in actions for name in action.option_strings if name not in written] == []
    assert len(options) == len(actions)
    assert [cells for cells in options if not cells[2]] == []


def _rows_of(command: str) -> list[list[str]]:
    """A command's rows in the README's table: its own, then those of its arguments and options."""
    rows = [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in _block("commands").splitlines()]
    start = next(number for number, row in enumerate(rows) if re.match(rf"`leerie {command}\b", row[0]))
    more = takewhile(lambda row: row[0] == "", rows[start + 1 :])
    return [rows[start], *more]


def _block(name: str) -> str:
    """What stands in the README between a table's marks."""
    (found,) = re.findall(rf"<!-- table: {name} -->\n\n(.*?)\n\n<!-- end -->", README, re.DOTALL)
    return str(found)


def _first_column(name: str) -> list[str]:
    return re.findall(r"^\| `([^`]+)` \|", _block(name), re.MULTILINE)


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


def _is_described(key: str) -> bool:
    """As a key, and not as a word that happens to be one: written in the example, or named in the README."""
    written = re.search(rf"(^|[\[{{,. ]){re.escape(key)}( = |\.|\])", EXAMPLE, re.MULTILINE)
    return written is not None or re.search(rf"`([a-z_]+\.)*{re.escape(key)}`", README) is not None


def test_every_config_key_is_described() -> None:
    keys = dict.fromkeys(_keys(_schema()))
    assert len(keys) > 100
    assert [key for key in keys if not _is_described(key)] == []


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
        for levels in re.findall(r"self\._?topic\(([^)]*)\)", source):
            names = [level.strip().strip('"') if '"' in level else "ROOM" for level in levels.split(",")]
            yield "/".join(["leerie", *names])
        for level in re.findall(r'f"\{[a-z_.]*topics\}/([a-z]+)"', source):
            yield f"leerie/{level}"


def test_every_own_topic_is_in_the_readme() -> None:
    topics = dict.fromkeys(topic for topic in _topics() if "#" not in topic)
    assert {"leerie/room/ROOM/ask", "leerie/room/ROOM/state", "leerie/service"} <= set(topics)
    assert [topic for topic in topics if f"`{topic}`" not in README] == []


def test_every_metric_is_in_the_readme() -> None:
    metrics = [write_docs.exposed(family) for family in write_docs.families()]
    assert len(metrics) >= 10
    assert [metric for metric in metrics if f"`{metric}`" not in README] == []


def _made(call: str, place: int = 0) -> set[str]:
    """The words that stand at this place of such a call, anywhere in the code."""
    words: set[str] = set()
    for path in SERVICE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] == call:
                words |= _words(node.args[place]) if len(node.args) > place else set()
    return words


def _words(given: ast.expr) -> set[str]:
    if isinstance(given, ast.IfExp):
        return _words(given.body) | _words(given.orelse)
    return {given.value} if isinstance(given, ast.Constant) and isinstance(given.value, str) else set()


def test_every_fault_is_explained_and_can_come() -> None:
    """In the README: what it means and what to do; in the code: made somewhere, and nothing else is."""
    codes = list(get_args(FaultCode))
    assert _first_column("faults") == list(FAULTS) == codes
    assert _made("Fault") == set(codes)


def test_every_reason_for_a_refusal_is_explained_and_can_come() -> None:
    reasons = list(get_args(RefusalReason))
    assert _first_column("refusals") == list(REFUSALS) == reasons
    assert _made("Refusal") | _made("Refused", 1) == set(reasons)


def test_every_log_event_and_field_is_explained() -> None:
    """That the code logs these and no others, tests/runtime/test_log.py holds."""
    assert _first_column("events") == list(EVENTS)
    assert _first_column("fields") == list(FIELDS)


def test_every_placeholder_is_explained() -> None:
    rows = re.findall(r"^\| (`\$[^|]*) \| [^|]+ \|$", README, re.MULTILINE)
    explained = [name for row in rows for name in re.findall(r"`\$([^`]+)`", row)]
    assert sorted(explained) == sorted([*PLACEHOLDERS, "$"])


def test_the_tables_are_the_codes() -> None:
    """`.venv/bin/python tests/write_docs.py` brings them up to date."""
    for document in write_docs.DOCUMENTS:
        text = document.read_text(encoding="utf-8")
        assert write_docs.with_tables(text) == text
    assert sorted(write_docs.blocks(README + DEVELOPERS)) == sorted(write_docs.TABLES)


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
