"""The link to the broker: one loop over paho's socket, one connection at a time, each of them new.

`step` waits and says what has happened; the verbs say what we want. A link is always in one of these places:
waiting to try again → dialling → greeted (nothing is sent yet) → settling → up.
Whatever goes wrong leads back to waiting.
"""

import time
from collections.abc import Callable, Collection, Iterator, Sequence
from functools import partial

from leerie.config.running import Broker
from leerie.messages import AT_ONCE, Message, Publish
from leerie.runtime.backoff import Backoff
from leerie.runtime.client_id import ClientId
from leerie.runtime.connection import Connection, Gone, Got, Granted, Taken, Turned, Welcome, Word, versions
from leerie.runtime.dialling import Dialling, look
from leerie.runtime.events import Arrived, Displaced, Event, Linked, Lost, Recalled, Settled, Unreachable
from leerie.runtime.outbox import Words
from leerie.runtime.outgoing import Outgoing
from leerie.runtime.settling import Settling
from leerie.runtime.wake import Wake
from leerie.runtime.watch import Watch

CAP_S = 1.0
"""No wait is longer: nothing wakes a sleeper when the wall clock steps."""
GREETING_S = 2.0
"""A broker that knows only the older version may misread our CONNECT and wait for more of it."""
LAST_GREETING_S = 10.0
"""Where there is no other version to try, the broker may just be slow."""
STEADY_S = 10.0
"""A connection that lasted so long was a good one: after it we are back soon."""


class Link:
    """Belongs to the deciding thread."""

    def __init__(
        self, broker: Broker, wake: Wake, *, instance: str, farewell: bytes, displaces: Callable[[bytes], bool]
    ) -> None:
        """Nothing is dialled before the first `step`.

        `instance`: this daemon's own random name; `farewell`: the last will on the service's topic;
        `displaces`: does this card come from a daemon that stands in our place?
        """
        self._broker = broker
        self._wake = wake
        self._instance = instance
        self._displaces = displaces
        self._will = (f"{broker.topics}/service", farewell)
        self._canary = f"{broker.topics}/canary"
        self._watch = Watch(wake)
        self._dialling: Dialling | None = None
        self._connection: Connection | None = None
        self._settling: Settling | None = None
        self._mute = False
        self._memory = ""
        self._wanted: Collection[str] = ()
        self._records: dict[str, bytes] | None = None
        self._outgoing = Outgoing()
        self._versions = versions(broker)
        self._greeted = False
        self._greet_by_s = 0.0
        self._since_s = 0.0
        self._client_id = ClientId(broker.client_id)
        self._thrown_off = False
        self._backoff = Backoff()
        self._try_at_s = 0.0
        self._complaint = ""
        self.up = False
        """Settled: commands and states may go."""

    # ---- verbs -------------------------------------------------------------------------------------------------------

    def recall(self, filter_: str, topics: Collection[str]) -> None:
        """Fetch what the broker kept under this filter for these topics; `Recalled` follows."""
        self._records = {}
        self._memory = filter_
        self._wanted = topics
        # At QoS 0: at QoS 1 a broker's queue for us is bounded, and what does not fit is dropped in silence.
        self._settle((filter_,), qos=0)

    def follow(self, filters: Sequence[str]) -> None:
        """Subscribe; what the broker kept arrives, then `Settled` follows."""
        self._settle(filters, qos=1)

    def follow_instead(self, before: Sequence[str], after: Sequence[str]) -> None:
        """Subscribe what is new and unsubscribe what is not wanted any more; `Settled` follows."""
        if self._connection is not None:
            for filter_ in before:
                if filter_ not in after:
                    self._connection.unsubscribe(filter_)
        self._outgoing.disown()
        self._settle([filter_ for filter_ in after if filter_ not in before], qos=1)

    def command(self, publish: Publish) -> None:
        """Hand a command over at once. Without a connection it is dropped: what is said late may be wrong."""
        self._outgoing.command(publish)

    def acknowledge(self, receipt: int) -> None:
        if self._connection is not None:
            self._connection.acknowledge(receipt)

    def retain(self, topic: str, words: Words, gap_ms: int = 0) -> None:
        """Publish retained, as soon as may be; a newer value takes an older one's place."""
        self._outgoing.retain(topic, words, gap_ms)

    def flush(self, steady_ms: int) -> None:
        """Hand over what is retained and may go now."""
        self._outgoing.flush(steady_ms)

    def due(self) -> int | None:
        """Steady millisecond of the next flush that waits for time."""
        return self._outgoing.due()

    @property
    def connected(self) -> bool:
        """The broker has let us in."""
        return self._connection is not None and self._greeted

    @property
    def at_once(self) -> int:
        """So many publishes the broker takes at a time."""
        return AT_ONCE if self._connection is None else self._connection.limit

    @property
    def idle(self) -> bool:
        """The broker has taken all that was handed over."""
        return self._outgoing.idle

    def close(self) -> None:
        """Leave: cleanly if our farewell has arrived; else without a word, so that the will says it in our place."""
        if self._dialling is not None:
            self._dialling.abandon()
        if self._connection is not None:
            (self._connection.goodbye if self.idle else self._connection.hang_up)()
        self._watch.close()

    # ---- the loop ----------------------------------------------------------------------------------------------------

    def step(self, seconds: float) -> Iterator[Event]:
        """Wait, at most so long, and say what has happened."""
        self._wait(seconds)
        now_s = time.monotonic()
        if self._connection is None:
            yield from self._reach(now_s)
        else:
            self._connection.tick()
            for word in self._connection.take():
                yield from self._heard(word, now_s)
            if not self._greeted and now_s >= self._greet_by_s:
                yield from self._turned(Turned(f"no answer to CONNECT within {self._greeting_s:.0f} s", True), now_s)
        if self._settling is not None:
            self._settling.passed(now_s)
            yield from self._look_settled()

    def _wait(self, seconds: float) -> None:
        patience_s = min(seconds, CAP_S)
        if self._connection is None and self._dialling is None:
            patience_s = min(patience_s, self._try_at_s - time.monotonic())
        self._watch.wait(self._connection, patience_s)

    def _reach(self, now_s: float) -> Iterator[Event]:
        """Dial when it is time to, and take what came of it."""
        dialling = self._dialling
        if dialling is None:
            if now_s >= self._try_at_s:
                self._dialling = self._dial()
            return
        if not dialling.over:
            return
        self._dialling = None
        self._thrown_off = False
        if dialling.card is not None:
            self._later(now_s)
            yield Displaced(dialling.card)
        elif dialling.connection is None:
            self._later(now_s)
            yield from self._complain(dialling.failure or "")
        else:
            self._connection = dialling.connection
            self._greeted = False
            self._greet_by_s = now_s + self._greeting_s

    @property
    def _greeting_s(self) -> float:
        return GREETING_S if len(self._versions) > 1 else LAST_GREETING_S

    def _dial(self) -> Dialling:
        connection = Connection(self._broker, self._client_id.value, self._versions[0], self._will)
        client_id = f"{self._broker.client_id}-look-{self._instance}"
        first = partial(look, self._broker, self._will[0], client_id, self._displaces) if self._thrown_off else None
        return Dialling(connection, self._wake.call, first)

    def _heard(self, word: Word, now_s: float) -> Iterator[Event]:
        match word:
            case Got():
                yield from self._got(word, now_s)
            case Taken(mid, ok):
                answer = self._outgoing.answered(mid, ok)
                if answer is not None:
                    yield answer
            case Granted(mid, granted) if self._settling is not None:
                self._settling.granted(mid, granted, now_s)
            case Welcome() if self._connection is not None:
                self._greeted = True
                self._since_s = now_s
                self._complaint = ""
                yield Linked(self._connection.version)
            case Turned():
                yield from self._turned(word, now_s)
            case Gone():
                yield from self._gone(word, now_s)
            case _:
                pass

    def _got(self, got: Got, now_s: float) -> Iterator[Event]:
        if got.topic == self._canary:
            self.acknowledge(got.receipt)
            if self._settling is not None:
                self._settling.heard(got.payload, now_s)
            return
        if got.retained and self._settling is not None:
            self._settling.kept(now_s)
        if got.topic in self._wanted:  # one that comes late is of no use any more
            if self._records is not None:
                self._records[got.topic] = got.payload
        else:
            yield Arrived(Message(got.topic, got.payload, got.retained), got.receipt, got.heard)

    def _gone(self, gone: Gone, now_s: float) -> Iterator[Event]:
        lasted_s = now_s - self._since_s
        if lasted_s >= STEADY_S:
            self._backoff.succeeded()
        self._forget(now_s)
        self._thrown_off = gone.thrown_off
        yield Lost(gone.why + self._client_id.lost(gone.thrown_off, lasted_s))

    def _turned(self, turned: Turned, now_s: float) -> Iterator[Event]:
        """Not let in: the other version of the protocol at once, if that may be why, else later."""
        others = self._versions[1:]
        self._forget(now_s)
        if turned.version and others:
            self._versions = others
            self._try_at_s = now_s
            return
        yield from self._complain(turned.why)

    def _complain(self, why: str) -> Iterator[Event]:
        if why != self._complaint:
            self._complaint = why
            yield Unreachable(why)

    # ---- settling ----------------------------------------------------------------------------------------------------

    def _settle(self, filters: Sequence[str], qos: int) -> None:
        if self._connection is not None:
            now_s = time.monotonic()
            self._settling = Settling(self._connection, self._canary, self._instance, filters, qos, now_s, self._mute)

    def _look_settled(self) -> Iterator[Event]:
        settling = self._settling
        if settling is None or not settling.done or self._connection is None:
            return
        self._settling = None
        self._mute = settling.mute
        unserved = tuple(settling.unserved)
        if self._records is not None:
            records, self._records = self._records, None
            self._connection.unsubscribe(self._memory)
            yield Recalled(records, unserved)
        else:
            self.up = True
            self._outgoing.begin(self._connection)
            yield Settled(unserved)

    def _forget(self, now_s: float) -> None:
        """The connection is over; what was in flight to lamps is gone with it."""
        if self._connection is not None:
            self._connection.hang_up()
        self._connection = None
        self._greeted = True
        self._settling = None
        self._records = None
        self._outgoing.lost()
        self._mute = False
        self.up = False
        self._later(now_s)

    def _later(self, now_s: float) -> None:
        self._try_at_s = now_s + self._backoff.next_s()
        self._versions = versions(self._broker)
