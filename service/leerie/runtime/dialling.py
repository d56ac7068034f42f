"""Dialling, in a thread of its own: a silent host or name service must not keep the daemon from stopping."""

import threading
from collections.abc import Callable

from leerie.config.running import Broker
from leerie.runtime.connection import Connection, Got
from leerie.runtime.visit import NoVisitError, Visit
from leerie.runtime.why import not_dialled

LOOK_S = 1.0


class Dialling:
    """One attempt. Ends in exactly one of: a connection that has said CONNECT, a failure, or another daemon's card."""

    def __init__(
        self, connection: Connection, done: Callable[[], None], look: Callable[[], bytes | None] | None
    ) -> None:
        """`done` is called from the thread when it is over; where `look` finds another daemon's card nobody dials."""
        self.connection: Connection | None = None
        self.failure: str | None = None
        self.card: bytes | None = None
        self._over = threading.Event()
        self._abandoned = False
        self._made = connection
        self._done = done
        self._look = look
        threading.Thread(target=self._run, name="dial", daemon=True).start()

    @property
    def over(self) -> bool:
        return self._over.is_set()

    def abandon(self) -> None:
        """Nobody waits for it any more."""
        self._abandoned = True
        if self.over and self.connection is not None:
            self.connection.goodbye()

    def _run(self) -> None:
        try:
            self.card = self._look() if self._look is not None else None
            if self.card is None:
                self._made.dial()
                self.connection = self._made
        except Exception as fault:  # noqa: BLE001 -- a thread that died without a word would be waited for for ever
            self.failure = not_dialled(fault, self._made.broker)
        self._over.set()
        if self._abandoned:
            self.abandon()
        self._done()


def look(broker: Broker, topic: str, client_id: str, displaces: Callable[[bytes], bool]) -> bytes | None:
    """The card of a daemon that displaces us, read under another client id so as to throw nobody off; or None."""
    try:
        with Visit(broker, client_id) as visit:
            visit.subscribe((topic,))
            for word in visit.words(LOOK_S):
                if isinstance(word, Got):
                    return word.payload if displaces(word.payload) else None
    except NoVisitError:
        pass  # the attempt that follows says what is wrong
    return None
