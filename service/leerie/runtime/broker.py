"""A broker of our own, for the demo and first steps: amqtt in a thread of its own, on loopback and nowhere else.

Never for a house: it keeps nothing on disk and speaks MQTT 3.1.1 only.
"""

import asyncio
import errno
import importlib.util
import logging
import socket
import threading
from types import TracebackType
from typing import Any, Self

LOOPBACK = "127.0.0.1"
START_S = 10.0
NOISY = ("amqtt", "transitions", "asyncio")
"""Log by themselves what is no news to us: each client that comes and goes."""
HOW_TO_GET_IT = "the embedded broker comes with an extra: pip install 'leerie[demo]'"


class EmbeddedBrokerError(Exception):
    """The broker cannot be had; the text says why, and what to do."""


class EmbeddedBroker:
    """Serves between `with` and its end."""

    def __init__(self, port: int = 0) -> None:
        """`port` 0: a free one. Raises EmbeddedBrokerError where amqtt is not installed."""
        if importlib.util.find_spec("amqtt") is None:
            raise EmbeddedBrokerError(HOW_TO_GET_IT)
        for name in NOISY:
            logging.getLogger(name).addHandler(logging.NullHandler())
            logging.getLogger(name).propagate = False
        self.port = port or free_port()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._end: asyncio.Event | None = None
        self._started = threading.Event()
        self._failure: str | None = None
        self._thread = threading.Thread(target=self._run, name="embedded broker", daemon=True)

    def __enter__(self) -> Self:
        """Returns when clients can connect. Raises EmbeddedBrokerError."""
        self._thread.start()
        if not self._started.wait(START_S):
            self._failure = f"it did not start within {START_S:.0f} s"
        if self._failure is not None:
            raise EmbeddedBrokerError(f"no embedded broker at {LOOPBACK}:{self.port}: {self._failure}")
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        if self._loop is not None and self._end is not None:
            self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(START_S)

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception as fault:  # noqa: BLE001 -- whatever it is, it belongs to who started us
            self._failure = _words(fault.__cause__ or fault, self.port)
        finally:
            self._started.set()

    async def _serve(self) -> None:
        from amqtt.broker import Broker  # noqa: PLC0415 -- an extra: not everybody has it

        broker = Broker(_config(self.port))
        await broker.start()
        self._loop = asyncio.get_running_loop()
        self._end = asyncio.Event()
        self._started.set()
        await self._end.wait()
        await broker.shutdown()


def _words(fault: BaseException, port: int) -> str:
    taken = isinstance(fault, OSError) and fault.errno == errno.EADDRINUSE
    return f"port {port} is in use" if taken else str(fault)


def _config(port: int) -> dict[str, Any]:
    # Its own default listens on every interface.
    return {
        "listeners": {"default": {"type": "tcp", "bind": f"{LOOPBACK}:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port
