"""A real browser, spoken to over its debugging pipe: JSON each way, ended by a zero byte."""

import contextlib
import json
import os
import signal
import subprocess
import threading
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from brokers import WITHIN_S, real_part

QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--hide-scrollbars",
)
LONGEST_S = 12 * WITHIN_S
"""Of one browser's life."""


class Chromium:
    """One Chromium with one empty tab, gone with the `with`. Skips where there is none, but fails in CI."""

    def __init__(self, folder: Path) -> None:
        """`folder`: an empty one, for its profile."""
        self._folder = folder
        self._program = real_part("chromium")
        self._number = 0
        self._tab: str | None = None
        self.complaints: list[str] = []
        """What it wrote to its console, blocked or could not load."""
        self._loads = 0
        """Pages loaded and not waited for."""

    def __enter__(self) -> Self:
        theirs_in, self._out = os.pipe()
        self._in, theirs_out = os.pipe()
        # It reads 3 and writes 4; the shell puts them there, wherever ours lie.
        words = " ".join((*QUIET, "--remote-debugging-pipe", f"--user-data-dir={self._folder}"))
        self._process = subprocess.Popen(
            ["bash", "-c", f"exec {self._program} {words} 3<&{theirs_in} 4>&{theirs_out} 2>/dev/null"],
            pass_fds=(theirs_in, theirs_out),
            env={**os.environ, "LC_ALL": "C.UTF-8"},
            process_group=0,
        )
        os.close(theirs_in)
        os.close(theirs_out)
        self._answers = os.fdopen(self._in, "rb")
        # A browser that hangs is ended, and the read that waits for it ends too.
        self._bound = threading.Timer(LONGEST_S, self._end)
        self._bound.start()
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._tab = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Log", "Runtime", "Network"):
            self.ask(f"{domain}.enable")
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self._bound.cancel()
        self._end()
        self._process.wait(WITHIN_S)
        self._answers.close()
        os.close(self._out)

    def _end(self) -> None:
        """It and all that it started: a group of their own."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)

    def ask(self, method: str, **params: Any) -> dict[str, Any]:
        """What it answers; what it tells meanwhile is kept."""
        self._number += 1
        call = {"id": self._number, "method": method, "params": params}
        if self._tab is not None:
            call["sessionId"] = self._tab
        os.write(self._out, json.dumps(call).encode() + b"\0")
        while (heard := self._hear()).get("id") != self._number:
            pass
        assert "error" not in heard, (method, heard["error"])
        result: dict[str, Any] = heard["result"]
        return result

    def _hear(self) -> dict[str, Any]:
        letters = bytearray()
        while (letter := self._answers.read(1)) != b"\0":
            assert letter, "the browser has ended"
            letters += letter
        heard: dict[str, Any] = json.loads(letters)
        if "method" in heard:
            self._note(heard["method"], heard["params"])
        return heard

    def _note(self, method: str, params: dict[str, Any]) -> None:
        if method == "Page.loadEventFired":
            self._loads += 1
        elif method == "Log.entryAdded":
            self.complaints.append(params["entry"]["text"])
        elif method in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Network.loadingFailed"):
            self.complaints.append(f"{method}: {params}")

    # ---- a page ------------------------------------------------------------------------------------------------------

    def open(self, url: str, width: int, scheme: str = "light") -> None:
        """Show that page on so many CSS pixels, by day ("light") or in the dark; returns when it is loaded."""
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=800, deviceScaleFactor=1, mobile=width < 600)
        self.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        self._loads = 0
        self.ask("Page.navigate", url=url)
        self.loaded()

    def loaded(self) -> None:
        """Returns when a page is loaded that nobody has waited for yet."""
        while self._loads == 0:
            self._hear()
        self._loads -= 1

    def look(self, script: str) -> Any:
        """The value of an expression, asked from outside of the page."""
        found = self.ask("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")
