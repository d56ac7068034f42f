"""What a command writes to may be narrow of mind, full, shut or gone; and somebody may press Ctrl-C."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from houses import workshop

LEERIE = (sys.executable, "-m", "leerie")
SCHEMA = (sys.executable, "-m", "leerie.config", "schema")
CHECK = (*LEERIE, "check", "--date", "2026-03-02")
HELP = (*LEERIE, "hold", "--help")
EXPLAIN = (*LEERIE, "explain", "workshop", "--at", "2026-03-02 12:00")
NARROW = (
    {"PYTHONIOENCODING": "ascii"},
    {"PYTHONIOENCODING": "latin-1"},
    {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
)


@pytest.fixture(autouse=True)
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    workshop(tmp_path, 1)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LEERIE_CONFIG", raising=False)


@pytest.mark.parametrize("environ", NARROW, ids=["ascii", "latin-1", "C"])
@pytest.mark.parametrize("words", [CHECK, EXPLAIN], ids=["check", "explain"])
def test_what_cannot_be_encoded_is_a_question_mark(words: tuple[str, ...], environ: dict[str, str]) -> None:
    environ = {name: value for name, value in os.environ.items() if not name.startswith("LC_")} | environ
    ran = subprocess.run(words, capture_output=True, env=environ, check=False)
    wide = subprocess.run(words, capture_output=True, check=False, env={**os.environ, "PYTHONIOENCODING": "utf-8"})
    assert (ran.returncode, ran.stderr) == (0, b"config: leerie.toml\n")
    assert b"?" in ran.stdout
    assert len(ran.stdout.decode("latin-1").splitlines()) == len(wide.stdout.decode().splitlines())
    told = subprocess.run((*words, "--json"), capture_output=True, env=environ, check=True)
    assert json.loads(told.stdout.decode("latin-1"))


@pytest.mark.parametrize(
    ("words", "what"),
    [(CHECK, "output"), (EXPLAIN, "output"), (SCHEMA, "schema")],
    ids=["check", "explain", "schema"],
)
def test_a_full_disk_is_one_plain_line(words: tuple[str, ...], what: str) -> None:
    with Path("/dev/full").open("wb") as full:
        ran = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert ran.returncode == 1
    assert [line for line in ran.stderr.splitlines() if not line.startswith("config: ")] == [
        f"cannot write the {what}: no space left on device"
    ]


def test_shut_output_is_one_plain_line() -> None:
    ran = subprocess.run(("sh", "-c", '"$@" >&-', "sh", *CHECK), stderr=subprocess.PIPE, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (1, "cannot write the output: it is closed\n")


@pytest.mark.parametrize("words", [CHECK, EXPLAIN, HELP, SCHEMA], ids=["check", "explain", "help", "schema"])
def test_a_reader_that_has_gone_is_no_finding(words: tuple[str, ...]) -> None:
    """`leerie check | head -1`"""
    ours, its = os.pipe()
    os.close(ours)
    ran = subprocess.run(words, stdout=its, stderr=subprocess.PIPE, text=True, check=False)
    os.close(its)
    assert ran.returncode == 0
    assert [line for line in ran.stderr.splitlines() if not line.startswith("config: ")] == []


@pytest.mark.parametrize("words", ["check", "run", "demo"])
def test_an_interrupt_while_loading_leaves_no_traceback(words: str) -> None:
    """The signal comes as the command's module is imported."""
    interrupted = (
        "import os, signal, sys; from leerie.cli import main\n"
        "main.import_module = lambda name: os.kill(os.getpid(), signal.SIGINT)\n"
        f"sys.argv = ['leerie', '{words}']\n"
        "main.run()\n"
    )
    ran = subprocess.run((sys.executable, "-c", interrupted), capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout, ran.stderr) == (1, "", "")
