"""What goes out: commands before all else, and never more at a time than the broker takes."""

from collections import deque
from typing import Protocol

from msgspec.structs import replace

from leerie.messages import Publish
from leerie.runtime.events import Acknowledged, Denied
from leerie.runtime.outbox import Outbox, Words


class Line(Protocol):
    """What going out needs of a connection."""

    @property
    def room(self) -> int:
        """So many more publishes may go now."""

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, expiry_s: int | None = None) -> int: ...


class Outgoing:
    """Lives as long as the link; lines come and go."""

    def __init__(self) -> None:
        self._line: Line | None = None
        self._commands: deque[Publish] = deque()
        """Wait for room: the controller keeps few in flight, but not of last words, and a broker may take less."""
        self._tickets: dict[int, int] = {}
        self._outbox = Outbox()

    def begin(self, line: Line) -> None:
        """From here on things may go, along this line."""
        self._line = line

    def lost(self) -> None:
        """The line is gone, and commands with it; what is retained waits for the next."""
        self._line = None
        self._commands.clear()
        self._tickets.clear()
        self._outbox.lost()

    def disown(self) -> None:
        """Who gave the commands under way does not ask any more what becomes of them."""
        self._tickets = dict.fromkeys(self._tickets, 0)
        self._commands = deque(replace(publish, ticket=0) for publish in self._commands)

    def command(self, publish: Publish) -> None:
        """Goes at once if there is room. Without a line it is dropped: what is said late may be wrong."""
        if self._line is not None:
            self._commands.append(publish)
            self._send_commands(self._line)

    def retain(self, topic: str, words: Words, gap_ms: int) -> None:
        """Goes with one of the next flushes; a newer value takes an older one's place."""
        self._outbox.put(topic, words, gap_ms)

    def flush(self, steady_ms: int) -> None:
        """Hand over what is retained and may go now."""
        line = self._line
        if line is not None:
            self._outbox.send(lambda topic, payload: line.publish(topic, payload, retain=True), steady_ms, line.room)

    def due(self) -> int | None:
        """Steady millisecond of the next flush that waits for time and nothing else."""
        return self._outbox.due() if self._line is not None and self._line.room > 0 else None

    def answered(self, mid: int, ok: bool) -> Acknowledged | Denied | None:
        """The broker answered a publish; what that means, if anything."""
        if self._line is not None:
            self._send_commands(self._line)
        ticket = self._tickets.pop(mid, None)
        topic = self._outbox.answered(mid)
        if ticket is not None:
            return Acknowledged(ticket, ok)
        return Denied(topic) if topic is not None and not ok else None

    @property
    def idle(self) -> bool:
        """The broker has taken all that was handed over."""
        return self._outbox.empty and not self._commands and not self._tickets

    def _send_commands(self, line: Line) -> None:
        while self._commands and line.room > 0:
            publish = self._commands.popleft()
            self._tickets[line.publish(publish.topic, publish.payload, expiry_s=publish.expiry_s)] = publish.ticket
