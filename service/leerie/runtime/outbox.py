"""What is published retained: the newest value of each topic, sent while the broker listens, a few at a time."""

from collections.abc import Callable
from typing import TypeAlias

import msgspec

from leerie.messages import RETAINED_AT_ONCE

Words: TypeAlias = Callable[[], bytes]
"""Makes the payload when it is to be sent, and only then."""


class _Item(msgspec.Struct, frozen=True):
    words: Words
    gap_ms: int


class Outbox:
    """Never more than one value waits per topic, so it holds as many as there are topics."""

    def __init__(self) -> None:
        self._waiting: dict[str, _Item] = {}
        self._flying: dict[int, str] = {}
        self._sent: dict[str, tuple[_Item, int]] = {}

    def put(self, topic: str, words: Words, gap_ms: int = 0) -> None:
        """To be sent no sooner than `gap_ms` after the one before on this topic; a newer one takes its place.

        Its place in the queue, too: so who chatters queues behind the others each time, and they are never overtaken.
        """
        self._waiting[topic] = _Item(words, gap_ms)

    def send(self, publish: Callable[[str, bytes], int], steady_ms: int, most: int = RETAINED_AT_ONCE) -> None:
        """Hand over what may go now, no more than `most`; `publish` returns the mid."""
        most = min(most, RETAINED_AT_ONCE - len(self._flying))
        # What has no gap goes first: a state, which has one, may have the place of an older one in the queue, and must
        # not be out before the record of what it tells.
        for topic, item in sorted(self._waiting.items(), key=lambda waiting: waiting[1].gap_ms > 0):
            if most <= 0:
                return
            if self._free_ms(topic, item) > steady_ms:
                continue
            del self._waiting[topic]
            self._sent[topic] = (item, steady_ms)
            self._flying[publish(topic, item.words())] = topic
            most -= 1

    def answered(self, mid: int) -> str | None:
        """The broker answered a publish: its topic, or None where it was none of ours."""
        return self._flying.pop(mid, None)

    def lost(self) -> None:
        """The connection is gone: what was in flight waits again, unless something newer does."""
        for topic in self._flying.values():
            self._waiting.setdefault(topic, self._sent[topic][0])
        self._flying.clear()

    def due(self) -> int | None:
        """Steady millisecond at which something that waits for its gap may go; None: nothing waits for time."""
        if len(self._flying) >= RETAINED_AT_ONCE:
            return None
        return min((self._free_ms(topic, item) for topic, item in self._waiting.items()), default=None)

    @property
    def empty(self) -> bool:
        """Everything has been taken by the broker."""
        return not self._waiting and not self._flying

    def _free_ms(self, topic: str, item: _Item) -> int:
        before = self._sent.get(topic)
        return 0 if before is None else before[1] + item.gap_ms
