"""The real Prometheus, by deploy/prometheus, at a leerie that runs; and every query that a dashboard makes."""

import json
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import urlopen

import pytest
from deployed import DEPLOY

from brokers import WITHIN_S, free_port, real_part

PROMETHEUS = DEPLOY / "prometheus"
DASHBOARDS = sorted((DEPLOY / "grafana" / "dashboards").glob("*.json"))
LOOKS_S = 0.2
"""Between two looks: nobody is told when Prometheus has got somewhere, so there is nothing but asking."""
LEERIE = Path(sys.executable).with_name("leerie")


class Query(NamedTuple):
    """What a panel asks."""

    dashboard: str
    panel: str
    expression: str


def dashboard(path: Path) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return read


def panels(path: Path) -> list[dict[str, Any]]:
    """Without the headings."""
    return [panel for panel in dashboard(path)["panels"] if panel["type"] != "row"]


def queries() -> list[Query]:
    """Of every panel of every dashboard."""
    return [
        Query(path.stem, panel["title"], target["expr"])
        for path in DASHBOARDS
        for panel in panels(path)
        for target in panel["targets"]
    ]


def until(look: Callable[[], bool], within_s: float, otherwise: Callable[[], str]) -> None:
    """Looks again and again until it is so; or fails with what there is to say."""
    end_s, never = time.monotonic() + within_s, threading.Event()
    while not look():
        if time.monotonic() > end_s:
            pytest.fail(otherwise())
        never.wait(LOOKS_S)


@contextmanager
def demo(folder: Path) -> Iterator[str]:
    """`leerie demo` without a terminal; host and port of its page."""
    with subprocess.Popen([LEERIE, "demo"], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        assert process.stdout is not None
        try:
            found = re.search(rb"http://([\d.]+:\d+)", process.stdout.readline())
            assert found is not None
            threading.Thread(target=process.stdout.read, daemon=True).start()
            yield found[1].decode()
        finally:
            process.terminate()
            process.wait(WITHIN_S)


class Prometheus:
    """By deploy/prometheus as it is, but for whom it scrapes and how often: each second."""

    def __init__(self, folder: Path, target: str) -> None:
        home = shutil.copytree(PROMETHEUS, folder / "prometheus")
        config = home / "prometheus.yml"
        text = config.read_text(encoding="utf-8")
        assert '"leerie:9464"' in text
        assert ": 15s" in text
        config.write_text(text.replace('"leerie:9464"', f'"{target}"').replace(": 15s", ": 1s"), encoding="utf-8")
        self._address = f"127.0.0.1:{free_port()}"
        self._log = folder / "prometheus.log"
        self._words = [
            real_part("prometheus"),
            f"--config.file={config}",
            f"--storage.tsdb.path={folder / 'data'}",
            f"--web.listen-address={self._address}",
        ]

    def __enter__(self) -> Self:
        """Returns when it answers."""
        with self._log.open("wb") as log:
            self._process = subprocess.Popen(self._words, stdout=log, stderr=log)
        until(self._is_ready, 3 * WITHIN_S, lambda: "prometheus did not start:\n" + self._log.read_text())
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self._process.terminate()
        self._process.wait(WITHIN_S)

    def ask(self, what: str, **given: str) -> Any:
        """What its HTTP API answers; fails with its own words where it calls the question wrong."""
        try:
            with urlopen(f"http://{self._address}/api/v1/{what}?{urlencode(given)}", timeout=WITHIN_S) as answer:
                return json.load(answer)["data"]
        except HTTPError as wrong:
            with wrong:
                pytest.fail(f"{given}: {wrong.read().decode()}")

    def values(self, expression: str) -> list[float]:
        """Each series' value now, NaN too."""
        answer = self.ask("query", query=expression)
        assert answer["resultType"] == "vector", expression
        return [float(series["value"][1]) for series in answer["result"]]

    def rules(self, kind: str) -> list[dict[str, Any]]:
        """Those of the kind `alerting` or `recording`, as it has read them."""
        groups = self.ask("rules")["groups"]
        return [rule for group in groups for rule in group["rules"] if rule["type"] == kind]

    def _is_ready(self) -> bool:
        if self._process.poll() is not None:
            return True  # what it said stands in the log; the first question fails
        try:
            with urlopen(f"http://{self._address}/-/ready", timeout=WITHIN_S):
                return True
        except (HTTPError, URLError, ConnectionError) as wrong:
            if isinstance(wrong, HTTPError):
                wrong.close()
            return False
