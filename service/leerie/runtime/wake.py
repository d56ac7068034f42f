"""Something to wake the deciding thread with: a signal, or another thread."""

import contextlib
import signal
import socket
from collections.abc import Callable, Iterator


class Wake:
    """A socket pair. The deciding thread waits on one end, whoever wants it awake writes to the other."""

    def __init__(self) -> None:
        self._reader, self._writer = socket.socketpair()
        self._reader.setblocking(False)
        self._writer.setblocking(False)

    def fileno(self) -> int:
        """What to wait on for reading."""
        return self._reader.fileno()

    def call(self) -> None:
        """Wake the deciding thread; from any thread, and never waits."""
        with contextlib.suppress(BlockingIOError, OSError):  # full: it wakes anyway; closed: nobody sleeps any more
            self._writer.send(b"\0")

    def drain(self) -> None:
        with contextlib.suppress(BlockingIOError):
            while self._reader.recv(4096):
                pass

    @contextlib.contextmanager
    def signals(self, stop: Callable[[], None], reload: Callable[[], None]) -> Iterator[None]:
        """While inside, SIGTERM and SIGINT call `stop`, SIGHUP calls `reload`, and each wakes the sleeper.

        For the main thread only.
        """
        calls = {signal.SIGTERM: stop, signal.SIGINT: stop, signal.SIGHUP: reload}
        before = {number: signal.signal(number, lambda *_, call=call: call()) for number, call in calls.items()}
        fd_before = signal.set_wakeup_fd(self._writer.fileno(), warn_on_full_buffer=False)
        try:
            yield
        finally:
            signal.set_wakeup_fd(fd_before)
            for number, handler in before.items():
                signal.signal(number, handler)

    def close(self) -> None:
        self._reader.close()
        self._writer.close()
