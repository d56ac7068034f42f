"""`leerie demo` as people run it: a whole building on a real broker, and a clean end."""

import os
import pty
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

LEERIE = Path(sys.executable).with_name("leerie")
PATIENCE_S = 60
EXAMPLE = "config: the example that comes with leerie\n"
ENDINGS = {"SIGTERM": signal.SIGTERM, "SIGINT": signal.SIGINT}


@contextmanager
def _playing(folder: Path, *options: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [LEERIE, "demo", *options],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def _first_change(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return next(line for line in process.stdout if re.match(r"\w{3} \d\d:\d\d:\d\d  ", line))


@pytest.mark.broker
def test_a_day_goes_by_line_by_line_when_piped(tmp_path: Path) -> None:
    """A morning's worth: people get up, lamps are told and understand it, and the user's folder is left as it was."""
    with _playing(tmp_path, "--for", "6s", "--speed", "1800") as process:
        out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    assert err == EXAMPLE
    first, *changes, last = out.splitlines()
    assert first.startswith("Saltmarket violin workshop, time ×1800")
    assert {"kitchen", "stairs", "workshop"} <= {line.split()[2] for line in changes}
    assert any(" occupied " in line for line in changes)
    assert re.search(r"[1-9]\d* messages to \d+ lamps, every one understood\.$", last)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.broker
@pytest.mark.parametrize("ending", ENDINGS.values(), ids=ENDINGS)
def test_it_ends_cleanly_when_told_to(tmp_path: Path, ending: signal.Signals) -> None:
    with _playing(tmp_path) as process:
        _first_change(process)
        process.send_signal(ending)
        _, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    assert err == EXAMPLE


@pytest.mark.broker
def test_whoever_reads_it_may_stop_reading(tmp_path: Path) -> None:
    """`leerie demo | head -1`: no traceback, and it ends."""
    with _playing(tmp_path) as process:
        _first_change(process)
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        process.wait(timeout=PATIENCE_S)
        assert process.stderr.read() == EXAMPLE


@pytest.mark.broker
def test_on_a_terminal_it_takes_the_screen_and_gives_it_back(tmp_path: Path) -> None:
    master, slave = pty.openpty()
    environ = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
    with subprocess.Popen(
        [LEERIE, "demo", "--for", "3s"], cwd=tmp_path, stdin=slave, stdout=slave, stderr=slave, env=environ
    ) as process:
        os.close(slave)
        shown = _read_all(master)
        assert process.wait(timeout=PATIENCE_S) == 0
    assert shown.count("\x1b[?1049h") == shown.count("\x1b[?1049l") == 1
    assert "workshop" in shown
    assert "Traceback" not in shown


def _read_all(terminal: int) -> str:
    shown = b""
    try:
        while piece := os.read(terminal, 65_536):
            shown += piece
    except OSError:  # Linux says so when the other end is closed
        pass
    os.close(terminal)
    return shown.decode()


@pytest.mark.broker
def test_another_building_can_be_played(tmp_path: Path) -> None:
    """One's own config, before any sensor hangs on a wall; its broker is not asked for anything."""
    (tmp_path / "mine.toml").write_text(
        """
        [site]
        name = "Ropewalk"
        latitude = 55.9
        longitude = -4.3
        timezone = "Europe/London"
        [broker]
        host = "192.0.2.1"
        [day_parts.day]
        starts = "00:00"
        [sensors.eye]
        kind = "presence"
        topic = "loft/eye"
        [fixtures.lantern]
        kind = "dimmable"
        topic = "loft/lantern"
        payload = "$percent"
        [rooms.loft]
        sensors = ["eye"]
        fixtures = ["lantern"]
        confirm = "0s"
        [rooms.loft.scenes]
        day = { lantern = 0.7 }
        """
    )
    with _playing(tmp_path, "--config", "mine.toml", "--speed", "3600") as process:
        assert process.stdout is not None
        assert any("loft" in line and "lantern 0.70" in line for line in process.stdout)


@pytest.mark.parametrize(
    ("options", "code", "told"),
    [
        (("--speed", "0"), 2, '"0" is no speed'),
        (("--speed", "fast"), 2, '"fast" is no speed'),
        (("--for", "90"), 2, "90s"),
        (("--for", "0s"), 2, "longer than 0s"),
        (("--config", "nowhere.toml"), 1, "nowhere.toml"),
    ],
)
def test_wrong_wishes_get_a_line(tmp_path: Path, options: tuple[str, ...], code: int, told: str) -> None:
    judged = subprocess.run([LEERIE, "demo", *options], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert judged.returncode == code
    assert told in judged.stderr.splitlines()[-1]
    assert "Traceback" not in judged.stderr
