"""A small building, and the real daemon in it: in a thread, time as fast as one likes, or as its own process."""

import json
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TextIO, cast

from brokers import WITHIN_S
from leerie.config import load
from leerie.runtime import log
from leerie.runtime.clock import Clock
from leerie.runtime.daemon import Daemon

WORKSHOP = """
[site]
name = "Saltmarket violin workshop"
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"

[broker]
port = {port}
{broker}

[service]
metrics = ""
log = "json"
{service}

[day_parts.always]
starts = "00:00"

[sensors.bench_radar]
kind = "presence"
topic = "workshop/bench/radar"

[sensors.button]
kind = "button"
topic = "workshop/button"
does = {{ short = "ask light", long = "hold toggle" }}

[sensors.stair_pir]
kind = "presence"
topic = "stair/pir"

[fixtures.bench]
kind = "tunable"
topic = "lamps/bench/do"
payload = {{ lamp = "$on", out = "$byte", white = "$kelvin" }}
pace = 50

[fixtures.sign]
kind = "switched"
topic = "lamps/sign/do"
words = {{ on = "CLOSE", off = "OPEN" }}
pace = 50

[fixtures.stair]
kind = "dimmable"
topic = "lamps/stair/do"
payload = "$percent"
pace = 50

[rooms.workshop]
sensors = ["bench_radar", "button"]
fixtures = ["bench", "sign"]
confirm = "10s"
pass_through = "20s"
grace = "40s"
warn = {{ before = "15s", level = 0.5 }}
relight = "0s"

[rooms.workshop.scenes]
always = {{ bench = {{ level = 0.8, kelvin = 4000 }} }}
vacant = {{ sign = 1 }}

[rooms.stair]
sensors = ["stair_pir"]
fixtures = ["stair"]
egress = true
confirm = "10s"
grace = "40s"
relight = "0s"

[rooms.stair.scenes]
always = {{ stair = 1.0 }}
vacant = {{ stair = 0.2 }}
"""


def workshop(folder: Path, port: int, broker: str = "", service: str = "") -> Path:
    """A config of two rooms; `broker`, `service`: more lines for those tables."""
    path = folder / "leerie.toml"
    path.write_text(WORKSHOP.format(port=port, broker=broker, service=service))
    return path


class Lines:
    """Log lines as they come, to be waited for."""

    def __init__(self) -> None:
        self.lines: list[dict[str, Any]] = []
        self.other: list[str] = []
        """Lines that are no JSON."""
        self._news = threading.Condition()

    def write(self, text: str) -> int:
        """As a stream's."""
        with self._news:
            for line in text.splitlines():
                if line.startswith("{"):
                    self.lines.append(json.loads(line))
                elif line:
                    self.other.append(line)
            self._news.notify_all()
        return len(text)

    def flush(self) -> None:
        """As a stream's."""

    def isatty(self) -> bool:
        """As a stream's."""
        return False

    def until(self, event: str, wanted: Callable[[dict[str, Any]], bool] = lambda _: True) -> dict[str, Any]:
        """The first line of that event that is as wanted."""

        def found() -> list[dict[str, Any]]:
            return [line for line in self.lines if line["event"] == event and wanted(line)]

        with self._news:
            if not self._news.wait_for(found, WITHIN_S):
                raise AssertionError(f"not logged within {WITHIN_S:.0f} s: {event}; logged: {self.lines} {self.other}")
            return found()[0]

    def of(self, event: str) -> list[dict[str, Any]]:
        with self._news:
            return [line for line in self.lines if line["event"] == event]


class House:
    """The daemon in a thread, its clock so many times as fast as the real one."""

    def __init__(self, config: Path, speed: float = 20, start: int | None = None, **daemon: Any) -> None:
        """`start`: what its wall clock says at first, µs UTC; None: the real time."""
        self.log = Lines()
        self.clock = Clock(speed, start)
        self.code: int | None = None
        logger = log.make("json", stream=cast("TextIO", self.log))
        self.daemon = Daemon(load(config, {}).building, logger, self.clock, **daemon)
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> Self:
        """Returns when it has settled."""
        self._thread.start()
        self.log.until("settled")
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self.daemon.stop()
        self._thread.join(WITHIN_S)
        assert not self._thread.is_alive()

    def _run(self) -> None:
        self.code = self.daemon.run()


class Service:
    """`leerie run` as a process of its own, on the real clock."""

    def __init__(self, config: Path, *words: str) -> None:
        self.log = Lines()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "leerie", "run", "--config", config, *words],
            cwd=config.parent,
            stderr=subprocess.PIPE,
            text=True,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(WITHIN_S)
        self._reader.join(WITHIN_S)
        assert not [line for line in self.log.other if "Traceback" in line]

    def end(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Send the signal, wait for the end, and return the exit code."""
        self.process.send_signal(number)
        return self.process.wait(WITHIN_S)

    def _read(self) -> None:
        assert self.process.stderr is not None
        with self.process.stderr as lines:
            for line in lines:
                self.log.write(line)
