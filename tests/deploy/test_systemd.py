"""The unit, by systemd's own tool: what it says is understood, and how little is left open.

systemd-analyze of systemd 252 and newer (Debian 12: package systemd), which needs no running systemd for this.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from deployed import DEPLOY, Deployed

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


# ---- leerie's other commands, beside the unit ------------------------------------------------------------------------


def as_installed(folder: Path, broker: Deployed, password: str | None) -> subprocess.CompletedProcess[str]:
    """`leerie health` by the wrapper, from a shell that knows nothing; but for where its files stand, and the port."""
    script = folder / "leerie"
    text = (DEPLOY / "systemd" / "leerie").read_text(encoding="utf-8")
    text = text.replace("/opt/leerie/bin/", f"{Path(sys.executable).parent}/").replace("/etc/leerie/", f"{folder}/")
    script.write_text(text, encoding="utf-8")
    (folder / "leerie.toml").write_bytes((DEPLOY / "leerie.example.toml").read_bytes())
    if password is not None:
        (folder / "password").write_text(f"{password}\n", encoding="utf-8")
    bare = {"PATH": os.defpath, "LEERIE_BROKER__PORT": str(broker.port)}
    return subprocess.run(["sh", script, "health"], env=bare, capture_output=True, text=True, check=False)


@pytest.mark.broker
def test_other_commands_log_in_as_the_unit_does(tmp_path: Path) -> None:
    (tmp_path / "broker").mkdir()
    with Deployed(tmp_path / "broker", "leerie") as broker:
        without = as_installed(tmp_path, broker, None).stderr
        assert without == f"leerie: {tmp_path}/password cannot be read; try sudo leerie\n"
        said = as_installed(tmp_path, broker, broker.passwords["leerie"]).stderr
        assert "nothing has been heard of a leerie" in said  # the broker has let it in
        assert "nothing has been heard" not in as_installed(tmp_path, broker, "guessed").stderr


def test_the_wrapper_goes_by_the_units_files() -> None:
    text = (DEPLOY / "systemd" / "leerie").read_text(encoding="utf-8")
    unit = UNIT.read_text(encoding="utf-8")
    for said in re.findall(r"^(LEERIE_(?:CONFIG|BROKER__USERNAME)=.*)$", text, re.MULTILINE):
        assert f"\nEnvironment={said}\n" in unit
    (password,) = re.findall(r"\$\(cat (.*)\)", text)
    assert f"\nLoadCredential=LEERIE_BROKER__PASSWORD:{password}\n" in unit
    (program,) = re.findall(r"^exec (\S+) ", text, re.MULTILINE)
    assert f"\nExecStart={program} run\n" in unit
