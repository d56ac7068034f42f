"""The example that comes with leerie: documentation, first config and demo in one."""

import re
import subprocess
import sys
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from leerie.config import load
from leerie.config.models import Config
from leerie.config.shapes import leaf_keys
from leerie.config.sources import NAMED_SECTIONS

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "config.example.toml"


def test_it_loads_and_touches_nothing_that_needs_root() -> None:
    building = load(EXAMPLE, {}).building
    assert building.service.state_dir is None
    assert building.service.metrics == ("127.0.0.1", 9464)
    assert building.broker.host == "127.0.0.1"
    assert {"workshop", "stairs", "porch"} <= set(building.rooms)
    assert building.rooms["stairs"].egress


def test_nothing_in_it_is_suspicious() -> None:
    assert load(EXAMPLE, {}).suspicions(2026) == []


def test_the_package_holds_the_same_file() -> None:
    assert files("leerie.config").joinpath("example.toml").read_bytes() == EXAMPLE.read_bytes()


def test_it_holds_every_kind_of_sensor_and_lamp() -> None:
    building = load(EXAMPLE, {}).building
    assert {sensor.kind for sensor in building.sensors.values()} == {"presence", "motion", "door", "button"}
    assert {lamp.kind for lamp in building.fixtures.values()} == {"switched", "dimmable", "tunable", "colour"}


def test_it_names_every_key() -> None:
    """Written or commented out, in its own table."""
    text = EXAMPLE.read_text()
    missing = []
    for section, *_, key in (path for path in leaf_keys(Config) if len(path) > 1):
        table = re.search(rf"^\[{section}[\].].*?(?=^\[(?!{section})|\Z)", text, re.DOTALL | re.MULTILINE)
        assert table is not None
        if not re.search(rf"(^|[ {{]){key} = ", table[0], re.MULTILINE):
            missing.append(f"{section}.{key}")
    schema = Config.model_json_schema()
    for section in NAMED_SECTIONS:
        table_name = schema["properties"][section]["additionalProperties"]["$ref"].rsplit("/")[-1]
        keys = schema["$defs"][table_name]["properties"]
        missing += [
            f"{section}.{key}"
            for key in keys
            if not re.search(rf"(^|[ {{]){key} = |^\[{section}\.\w+\.{key}[\].]", text, re.MULTILINE)
        ]
    assert missing == []


def test_what_is_commented_out_can_be_used(tmp_path: Path) -> None:
    """Each commented key, one at a time, is a key of its place."""
    lines = EXAMPLE.read_text().splitlines()
    path = tmp_path / "leerie.toml"
    for name in ("broker-password", "ca.pem", "leerie.pem", "leerie.key"):
        (tmp_path / name).touch()
    tried = 0
    for number, line in enumerate(lines):
        if re.match(r"# [a-z_]+ = ", line):
            path.write_text("\n".join([*lines[:number], line.removeprefix("# "), *lines[number + 1 :]]))
            load(path, {})
            tried += 1
    assert tried > 30


def test_the_lines_are_short_enough_for_a_terminal() -> None:
    assert max(len(line) for line in EXAMPLE.read_text().splitlines()) <= 140


def test_its_tables_stand_in_the_order_of_the_schema() -> None:
    assert list(tomllib.loads(EXAMPLE.read_text())) == list(Config.model_fields)


@pytest.mark.parametrize(
    ("code", "kept_out"),
    [
        ("import leerie.config", ["pydantic", "pydantic_settings", "tree_sitter", "holidays"]),
        (f"import pathlib, leerie.config; leerie.config.load(pathlib.Path({str(EXAMPLE)!r}), {{}})", ["tree_sitter"]),
    ],
)
def test_nothing_is_loaded_before_it_is_needed(code: str, kept_out: list[str]) -> None:
    probe = f"{code}\nimport sys\nprint([name for name in {kept_out} if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert run.stdout == "[]\n"
