"""What works behind the scenes of the demo: a broker and the real daemon, each in a process of its own.

Each can be taken away, as abruptly as such things happen, and brought back. What the daemon must remember is in a
folder that is gone with the demo.
"""

import os
import signal
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import ExitStack
from multiprocessing import Pipe, get_context, parent_process, resource_tracker
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Self

from msgspec.structs import replace

from leerie.config.building import Building
from leerie.runtime import log
from leerie.runtime.broker import LOOPBACK, EmbeddedBroker, EmbeddedBrokerError, free_port
from leerie.runtime.clock import Clock
from leerie.runtime.daemon import Daemon

if TYPE_CHECKING:
    from multiprocessing.context import SpawnProcess

FAREWELL_S = 3.0


class Backstage:
    """Broker and daemon between `with` and its end."""

    clock: Clock
    """The building's; time begins when the broker is there."""

    def __init__(self, building: Building, speed: float, start: int) -> None:
        """`start`: the building's wall clock when time begins, µs UTC."""
        port, page = free_port(), free_port()
        self._speed, self._start = speed, start
        self._folder = tempfile.TemporaryDirectory(prefix="leerie-demo-")
        broker = replace(
            building.broker, host=LOOPBACK, port=port, protocol="3.1.1", username=None, password=None, tls=None
        )
        service = replace(building.service, metrics=(LOOPBACK, page), state_dir=self._folder.name)
        self.building = replace(building, broker=broker, service=service)
        """With everything that reaches beyond the demo taken away: its broker, its scrape page, its folder."""
        self.page = f"http://{LOOPBACK}:{page}/"
        self._broker: SpawnProcess | None = None
        self._daemon: SpawnProcess | None = None

    def __enter__(self) -> Self:
        """Raises EmbeddedBrokerError where there can be no broker."""
        with ExitStack() as stack:
            stack.enter_context(self._folder)
            self.mend()
            stack.callback(self.cut)
            self.clock = Clock(self._speed, self._start)
            self.start()
            stack.callback(self._dismiss)
            self._ends = stack.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._ends.close()

    # ---- the broker --------------------------------------------------------------------------------------------------

    def cut(self) -> None:
        """The broker is gone, with everything it had kept."""
        _kill(self._broker)
        self._broker = None

    def mend(self) -> None:
        """A broker is there again, at the same address. It remembers nothing. Raises EmbeddedBrokerError."""
        ours, its = Pipe()
        self._broker = _spawned(_broker, self.building.broker.port, its)
        its.close()
        try:
            complaint = ours.recv()
        except EOFError:
            complaint = "its process ended"
        if complaint is not None:
            raise EmbeddedBrokerError(complaint)

    # ---- the daemon --------------------------------------------------------------------------------------------------

    def kill(self) -> None:
        """No farewell, nothing saved: what is not on disk yet is lost."""
        _kill(self._daemon)
        self._daemon = None

    def start(self) -> None:
        self._daemon = _spawned(_daemon, self.building, self.clock)

    @property
    def fallen(self) -> bool:
        """The daemon has ended by itself, which it should never do."""
        return self._daemon is not None and self._daemon.exitcode is not None

    def _dismiss(self) -> None:
        if self._daemon is not None:
            self._daemon.terminate()
            self._daemon.join(FAREWELL_S)
        self.kill()


# ---- the processes ---------------------------------------------------------------------------------------------------


def _spawned(work: Callable[..., None], *args: object) -> "SpawnProcess":
    """A process that ends with this one, however this one ends. Not forked: this one has threads."""
    process = get_context("spawn").Process(target=work, args=args, daemon=True)
    # Ctrl-C is the demo's, from the first moment on: it ends the daemon, which says farewell before the broker goes.
    resource_tracker.ensure_running()  # or the start does so, and lets the signal through again
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        process.start()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
    return process


def _kill(process: "SpawnProcess | None") -> None:
    if process is not None:
        process.kill()
        process.join()


def _broker(port: int, told: Connection) -> None:
    threading.Thread(target=_end_with_the_demo, daemon=True).start()
    try:
        with EmbeddedBroker(port):
            told.send(None)
            threading.Event().wait()
    except EmbeddedBrokerError as fault:
        told.send(str(fault))


def _daemon(building: Building, clock: Clock) -> None:
    threading.Thread(target=_end_with_the_demo, daemon=True).start()
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
        sys.exit(Daemon(building, log.make("json", stream=nowhere), clock).run())


def _end_with_the_demo() -> None:
    demo = parent_process()
    if demo is not None:
        demo.join()
        os._exit(signal.SIGTERM)
