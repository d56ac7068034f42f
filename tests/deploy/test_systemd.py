"""The unit, by systemd's own tool: what it says is understood, and how little is left open.

systemd-analyze of systemd 252 and newer (Debian 12: package systemd), which needs no running systemd for this.
"""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from deployed import DEPLOY

from brokers import real_part
from leerie.config.sources import PREFIX
from leerie.config.sources import environment as variables

UNIT = DEPLOY / "systemd" / "leerie.service"
EXPOSURE = 14
"""Tenths: 0 is shut, 100 wide open; systemd calls it OK up to 50."""


def analyze(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([real_part("systemd-analyze"), *words], capture_output=True, text=True, check=False)


def exposure(unit: Path) -> subprocess.CompletedProcess[str]:
    return analyze("security", "--offline=true", "--no-pager", f"--threshold={EXPOSURE}", unit)


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    """With a program that is there."""
    path = tmp_path / UNIT.name
    path.write_text(UNIT.read_text(encoding="utf-8").replace("/opt/leerie/bin/", f"{Path(sys.executable).parent}/"))
    return path


def test_systemd_understands_every_line(unit: Path) -> None:
    judged = analyze("verify", unit)
    assert (judged.returncode, judged.stdout, judged.stderr) == (0, "", "")


def test_it_would_say_so(unit: Path) -> None:
    unit.write_text(unit.read_text(encoding="utf-8").replace("ProtectHome=yes", "ProtectHom=yes"), encoding="utf-8")
    assert "ProtectHom" in analyze("verify", unit).stderr


def test_little_is_left_open() -> None:
    judged = exposure(UNIT)
    assert judged.returncode == 0, judged.stdout
    (level,) = re.findall(r"Overall exposure level for leerie.service: (\S+)", judged.stdout)
    assert f"exposure {level}" in (DEPLOY / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("line", ["DynamicUser=yes", "RestrictNamespaces=yes", "SystemCallFilter=@system-service"])
def test_a_line_less_would_be_too_much(unit: Path, line: str) -> None:
    unit.write_text(unit.read_text(encoding="utf-8").replace(line, "#"), encoding="utf-8")
    assert exposure(unit).returncode != 0


def test_its_variables_and_its_credential_are_keys_of_the_config() -> None:
    text = UNIT.read_text(encoding="utf-8")
    environment = dict(re.findall(r"^Environment=(\w+)=(.*)$", text, re.MULTILINE))
    credentials = re.findall(r"^LoadCredential=(\w+):", text, re.MULTILINE)
    assert credentials == ["LEERIE_BROKER__PASSWORD"]
    for name in credentials:
        environment[name] = "secret"
    assert [name for name in environment if name.startswith(PREFIX)] != []
    assert variables(environment, {}).strays == {}
