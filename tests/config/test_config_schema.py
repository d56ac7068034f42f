"""The JSON Schema of the config, for editors."""

import json
import runpy
import subprocess
import sys
from typing import Any

import pytest

from leerie.config.models import Config


def test_schema_is_printed() -> None:
    run = subprocess.run([sys.executable, "-m", "leerie.config", "schema"], capture_output=True, text=True, check=True)
    schema: dict[str, Any] = json.loads(run.stdout)
    assert list(schema["properties"]) == [
        "site", "broker", "service", "daylight", "day_parts", "sensors", "fixtures", "rooms",
    ]  # fmt: skip
    assert schema["required"] == ["site"]
    assert schema["additionalProperties"] is False
    assert schema["$defs"]["Room"]["properties"]["grace"]["default"] == "10m"
    assert schema["$defs"]["Site"]["properties"]["latitude"]["maximum"] == 90


def test_it_is_what_the_module_prints(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["leerie.config", "schema"])
    with pytest.raises(SystemExit) as end:
        runpy.run_module("leerie.config", run_name="__main__")
    assert end.value.code == 0
    assert json.loads(capsys.readouterr().out) == Config.model_json_schema()


def test_anything_else_is_wrong_usage() -> None:
    run = subprocess.run([sys.executable, "-m", "leerie.config", "shema"], capture_output=True, text=True, check=False)
    assert (run.returncode, run.stdout, run.stderr) == (2, "", "usage: python -m leerie.config schema\n")
