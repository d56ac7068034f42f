"""Waiting for what the broker says, for its socket to take more, or to be woken."""

import selectors
from typing import Any

from leerie.runtime.connection import Connection
from leerie.runtime.wake import Wake


class Watch:
    """One wake for ever, and one connection at a time."""

    def __init__(self, wake: Wake) -> None:
        self._wake = wake
        self._selector = selectors.DefaultSelector()
        self._selector.register(wake, selectors.EVENT_READ)
        self._watched: tuple[Any, int] | None = None

    def wait(self, connection: Connection | None, seconds: float) -> None:
        """Wait, at most so long, and let the connection read and write what it can."""
        if connection is not None and connection.pending:
            seconds = 0.0
        self._follow(connection)
        for key, mask in self._selector.select(max(seconds, 0.0)):
            if key.fileobj is self._wake:
                self._wake.drain()
            elif connection is not None and mask & selectors.EVENT_WRITE:
                connection.write()
        if connection is not None:
            connection.read()

    def close(self) -> None:
        self._selector.close()

    def _follow(self, connection: Connection | None) -> None:
        """Bring the selector in line with the socket, which paho opens and closes as it likes."""
        wanted = None
        if connection is not None and connection.socket is not None:
            writes = selectors.EVENT_WRITE if connection.wants_write else 0
            wanted = (connection.socket, selectors.EVENT_READ | writes)
        if wanted == self._watched:
            return
        if self._watched is not None:
            self._selector.unregister(self._watched[0])
        if wanted is not None:
            self._selector.register(*wanted)
        self._watched = wanted
