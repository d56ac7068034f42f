"""What the image is built with: pinned by hash, without addresses, and as pyproject.toml wants it."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from deployed import DEPLOY, ROOT
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from brokers import real_part

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
WANTED = {
    "requirements.txt": PROJECT["project"]["dependencies"],
    "requirements-build.txt": PROJECT["build-system"]["requires"],
}
SCRIPTS = (
    *(".ci/run", "deploy/pin", "deploy/prepare", "deploy/mosquitto/add", "deploy/mosquitto/certify"),
    *("deploy/systemd/leerie", "deploy/try"),
)


def entries(name: str) -> list[str]:
    """Each package with its hashes, on one line; comments are left out."""
    text = re.sub(r"^ *#.*\n", "", (DEPLOY / name).read_text(encoding="utf-8"), flags=re.MULTILINE)
    return text.replace("\\\n", " ").splitlines()


def pins(name: str) -> dict[str, Requirement]:
    found = [Requirement(entry.split(" --hash=")[0]) for entry in entries(name)]
    return {canonicalize_name(pin.name): pin for pin in found}


@pytest.mark.parametrize("name", WANTED)
def test_what_pyproject_wants_is_pinned(name: str) -> None:
    """Where this fails, `deploy/pin` brings it up to date."""
    pinned = pins(name)
    for wanted in map(Requirement, WANTED[name]):
        (version,) = pinned[canonicalize_name(wanted.name)].specifier
        assert version.operator == "=="
        assert wanted.specifier.contains(version.version), f"{wanted} is pinned to {version.version}"


@pytest.mark.parametrize("name", WANTED)
def test_every_package_has_hashes_and_none_an_address(name: str) -> None:
    for entry in entries(name):
        assert re.fullmatch(r"[\w.-]+==\S+( ;[^-]*)?( +--hash=sha256:[0-9a-f]{64})+ *", entry), entry
    assert "://" not in (DEPLOY / name).read_text(encoding="utf-8")


def test_the_build_sees_no_more_than_it_needs() -> None:
    """What the Dockerfile copies is let through by .dockerignore, and nothing else."""
    copied = re.findall(r"^COPY (?!--from)(.*) \S+$", (ROOT / "Dockerfile").read_text(encoding="utf-8"), re.MULTILINE)
    lines = (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines()
    let_through = [line.removeprefix("!") for line in lines if line.startswith("!")]
    assert lines[0] == "*"
    assert sorted(let_through) == sorted(word for words in copied for word in words.split())


@pytest.mark.parametrize("script", SCRIPTS)
def test_shellcheck_has_nothing_to_say(script: str) -> None:
    judged = subprocess.run([real_part("shellcheck"), ROOT / script], capture_output=True, text=True, check=False)
    assert (judged.returncode, judged.stdout) == (0, "")


def test_every_script_is_looked_at() -> None:
    found = [path for path in (*DEPLOY.rglob("*"), *(ROOT / ".ci").iterdir()) if _is_for_a_shell(path)]
    assert sorted(str(path.relative_to(ROOT)) for path in found) == sorted(SCRIPTS)


def _is_for_a_shell(path: Path) -> bool:
    return path.is_file() and re.match(rb"#!.*sh\n", path.read_bytes()) is not None
