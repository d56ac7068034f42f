"""Knowing when everything that the broker kept has arrived.

MQTT has no end of retained messages, but what comes from one broker comes in order. So a subscription that has been
granted is followed by a canary, published to ourselves: when it is back, what the broker kept came before it.
Many filters go in batches, each with its canary.
"""

from collections.abc import Sequence
from typing import Protocol

BATCH = 100
CANARY_S = 5
"""A canary that is not back so long after anything else will not come: we may not publish it, or not read it."""


class Line(Protocol):
    """What settling needs of a connection."""

    def subscribe(self, filters: Sequence[str], qos: int = 1) -> int: ...
    def publish(self, topic: str, payload: bytes, *, retain: bool = False, expiry_s: int | None = None) -> int: ...


class Settling:
    """One round of subscriptions. Tell it what comes and when time passes, until it is `done`."""

    def __init__(
        self, line: Line, canary: str, token: str, filters: Sequence[str], qos: int, now_s: float, mute: bool = False
    ) -> None:
        """Subscribe the canary's topic and the first batch.

        `canary`: the topic of our canaries; `token`: tells ours from those of anybody else;
        `mute`: the round before had no canary back, so this one waits for none.
        """
        self.done = False
        self.mute = mute
        self.unserved: list[str] = []
        """Filters that the broker refuses, and the canary's topic when the canary did not come back."""
        self._line = line
        self._canary = canary
        self._token = token
        self._qos = qos
        self._batches = [tuple(filters[start : start + BATCH]) for start in range(0, len(filters), BATCH)]
        self._turn = -1
        self._asked = 0
        self._until_s = 0.0
        line.subscribe((canary,))
        self._next(now_s)

    def granted(self, mid: int, granted: Sequence[bool], now_s: float) -> None:
        """A subscription was answered, filter by filter."""
        if self.done or mid != self._asked:
            return
        self.unserved += [name for name, ok in zip(self._batches[self._turn], granted, strict=False) if not ok]
        self._asked = 0
        if self.mute:
            self._next(now_s)
            return
        self._until_s = now_s + CANARY_S
        self._line.publish(self._canary, self._song(), expiry_s=CANARY_S)

    def heard(self, payload: bytes, now_s: float) -> None:
        """A canary came, ours or another's."""
        if not self.done and not self._asked and payload == self._song():
            self._next(now_s)

    def kept(self, now_s: float) -> None:
        """Something came that the broker kept: it is at it, however slowly, so its answer is waited for anew."""
        if not self.done:
            self._until_s = now_s + CANARY_S

    def passed(self, now_s: float) -> None:
        """Time has passed: what did not come in time is named and not waited for any more."""
        if self.done or now_s < self._until_s:
            return
        if self._asked:
            self.unserved += self._batches[self._turn]
        else:
            self.mute = True
            self.unserved.append(self._canary)
        self._next(now_s)

    def _next(self, now_s: float) -> None:
        self._turn += 1
        if self._turn == len(self._batches):
            self.done = True
            return
        self._asked = self._line.subscribe(self._batches[self._turn], self._qos)
        self._until_s = now_s + CANARY_S

    def _song(self) -> bytes:
        return f"{self._token} {self._turn}".encode()
