"""A short visit to the broker: connect, say something, hear the answer, leave."""

import select
import time
from collections import deque
from collections.abc import Iterator, Sequence
from types import TracebackType
from typing import Self

from leerie.config.running import Broker
from leerie.runtime.connection import Connection, Gone, Got, Granted, Turned, Welcome, Word, versions
from leerie.runtime.why import not_dialled

ANSWER_S = 5.0
"""How long the broker may take for each of its own answers."""


class NoVisitError(Exception):
    """The broker was not reached, or does not let us do what we want; the text says why."""


class Visit:
    """Blocks, and is bounded in all it does: not for the deciding thread."""

    def __init__(self, broker: Broker, client_id: str) -> None:
        self._broker = broker
        self._client_id = client_id
        self._early: deque[Word] = deque()
        self._wanted: Sequence[str] = ()
        self._connection: Connection

    def __enter__(self) -> Self:
        """Connect. Raises NoVisitError."""
        turned = Turned("", version=True)
        for version in versions(self._broker):
            if not turned.version:
                break
            self._connection = Connection(self._broker, self._client_id, version)
            word = self._dial()
            if isinstance(word, Welcome):
                return self
            turned = word
        raise NoVisitError(turned.why)

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self._connection.goodbye()

    def subscribe(self, topics: Sequence[str]) -> None:
        """Subscribe, and wait until that is granted. Raises NoVisitError."""
        self._wanted = topics
        mid = self._connection.subscribe(topics)
        heard: list[Word] = []
        for word in self.words(ANSWER_S):
            if isinstance(word, Granted) and word.mid == mid:
                refused = [name for name, ok in zip(topics, word.granted, strict=False) if not ok]
                if refused:
                    raise NoVisitError(f"it does not serve {', '.join(refused)}")
                self._early.extend(heard)
                return
            heard.append(word)
        raise NoVisitError(f"it answered no subscription within {ANSWER_S:.0f} s")

    def publish(self, topic: str, payload: bytes) -> int:
        """Publish at QoS 1, not retained, and return the mid; among the words comes what the broker says to it."""
        return self._connection.publish(topic, payload)

    def words(self, seconds: float) -> Iterator[Word]:
        """What is heard during so many seconds, acknowledged. Raises NoVisitError when the connection breaks."""
        end_s = time.monotonic() + seconds
        yield from self._drain()
        while (left_s := end_s - time.monotonic()) > 0 and self._connection.socket is not None:
            self._pump(min(left_s, 1.0))
            yield from self._drain()

    def _drain(self) -> Iterator[Word]:
        while self._early:
            yield self._early.popleft()
        for word in self._connection.take():
            if isinstance(word, Gone):
                raise NoVisitError(word.why)
            self._connection.acknowledge(getattr(word, "receipt", 0))
            # amqtt sends a new client all that it has kept, asked for or not.
            if not isinstance(word, Got) or word.topic in self._wanted:
                yield word

    def _dial(self) -> Welcome | Turned:
        try:
            self._connection.dial()
        except (OSError, ValueError) as fault:
            return Turned(not_dialled(fault, self._broker), version=False)
        for word in self.words(ANSWER_S):
            if isinstance(word, Welcome | Turned):
                return word
        self._connection.hang_up()
        return Turned(f"it did not answer within {ANSWER_S:.0f} s", version=True)

    def _pump(self, seconds: float) -> None:
        connection = self._connection
        sock = connection.socket
        if not connection.pending:
            select.select([sock], [sock] if connection.wants_write else [], [], seconds)
        if connection.wants_write:
            connection.write()
        connection.read()
        connection.tick()
