"""All that the broker was heard to say of rooms and lamps, through every life of the daemon; and what was wrong."""

import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from typing import NamedTuple

from brokers import WITHIN_S, Heard

from . import standing
from .house import GRACES_S, Saying
from .standing import ROUNDED_S, Standing

CHATTER_S = 1.0
"""A move of occupancy is written down at most once in so long; what was published of it may be newer."""


NOTHING_SAID = (0.0, 0, None)


class Entry(NamedTuple):
    at: float
    life: int
    standing: Standing


class Announced(NamedTuple):
    at: float
    since: float
    until: float


class Ledger:
    """Written by the listening thread; its condition guards all of it."""

    def __init__(self, late_s: float) -> None:
        """`late_s`: an end may be heard so long after its instant."""
        self.life = 0
        self.violations: list[str] = []
        self.farewells = 0
        """How often the broker said that the daemon is gone."""
        self.ends = 0
        """Holds and graces that ended by themselves, each at the instant that was announced first."""
        self.commands = 0
        self.entries: dict[str, list[Entry]] = defaultdict(list)
        self.killed: dict[int, float] = {}
        """When each life ended."""
        self.unwritten = 0
        """Moves of occupancy that were published less than `CHATTER_S` before a kill, and were lost."""
        self.beneath: dict[str, float] = dict.fromkeys(GRACES_S, 0.0)
        """Since when each room's occupancy is as it is, hold or not."""
        self.on_news: Callable[[Heard], None] = lambda _: None
        self.news = threading.Condition()
        self._late_s = late_s
        self._said: dict[str, tuple[float, int, Saying | None]] = {}
        """The last thing said to each room, when, and in which life."""
        self._over: dict[str, float] = {}
        """When something that may end a hold was last said to a room."""
        self._doubtful: dict[str, list[Standing]] = {}
        """Rooms of which nobody knows whether what was said last has reached them, and how they stand if it has."""
        self._announced: dict[str, Announced] = {}
        """The end now under way in each room, as it was announced first."""

    def say(self, saying: Saying) -> None:
        """It is about to be said."""
        with self.news:
            self._said[saying.room] = (time.time(), self.life, saying)
            if saying.takes_over:
                self._over[saying.room] = time.time()
                self._doubtful[saying.room] = self._made_by_saying(saying.room)

    def hear(self, heard: Heard) -> None:
        """Something came from the broker."""
        self.on_news(heard)
        with self.news:
            now = time.time()
            kind, *levels = heard.topic.split("/")
            if kind == "lamps":
                self.commands += 1
                self._look_at_command(levels[0], heard, now)
            elif heard.topic == "leerie/service":
                self.farewells += not heard.retained and heard.value == {"running": False}
            elif not heard.retained:
                self._take(levels[1], standing.read(heard.payload), now)
            self.news.notify_all()

    def last(self, room: str) -> Standing:
        """How the room was last seen to stand."""
        return self.entries[room][-1].standing

    def until(self, wanted: Callable[[], bool], what: str) -> None:
        """Wait until that holds. Raises AssertionError."""
        with self.news:
            stood = self.news.wait_for(wanted, WITHIN_S)
            assert stood, f"within {WITHIN_S:.0f} s no {what}; last heard: {[*self.entries.items()]}"

    def settled(self) -> bool:
        """Every room has been heard of in this life."""
        return all(self.entries[room] and self.entries[room][-1].life == self.life for room in GRACES_S)

    def wrong(self, what: str) -> None:
        self.violations.append(f"life {self.life}: {what}")

    # ---- behind it ---------------------------------------------------------------------------------------------------

    def _look_at_command(self, room: str, heard: Heard, now: float) -> None:
        """In a hands-off hold no lamp is told anything."""
        entries = self.entries[room]
        if not entries or not (stands := entries[-1].standing).hands_off:
            return
        ended = stands.until is not None and now >= stands.until
        if not ended and room not in self._doubtful:
            self.wrong(f"{room}: {heard.payload!r} in a hands-off hold: {stands}")

    def _take(self, room: str, stands: Standing, now: float) -> None:
        entries = self.entries[room]
        before = entries[-1] if entries else None
        if before is not None:
            if before.life < self.life and not self._goes_on(room, stands, now):
                self._announced.pop(room, None)
            self._look_at_end(room, before, stands, now)
            if before.life < self.life or any(
                standing.same(one, stands, ROUNDED_S) for one in self._doubtful.get(room, ())
            ):
                self._doubtful.pop(room, None)
        entries.append(Entry(now, self.life, stands))
        del entries[:-50]
        if stands.hold is None:
            self.beneath[room] = stands.since
        if stands.until is None:
            self._announced.pop(room, None)
        elif room not in self._announced:
            self._announced[room] = Announced(now, stands.since, stands.until)

    def _goes_on(self, room: str, stands: Standing, now: float) -> bool:
        """The first word of a new life about a room: it stands as it stood, or as what was said last had made it.

        Is what was published last what it goes on from?
        """
        newest = self.entries[room][-1]
        for base in self._bases(room):
            for candidate in self._candidates(room, base, now):
                if standing.same(candidate, stands, ROUNDED_S):
                    self.unwritten += base is not newest
                    return base is newest
        self.wrong(
            f"{room} stood as {newest.standing}, last said to it was {self._said.get(room)}, it came back as {stands}"
        )
        return False

    def _bases(self, room: str) -> list[Entry]:
        """What the record may hold: what was published last; of moves that are not wishes perhaps what was before."""
        *older, newest = self.entries[room]
        bases = [newest]
        for entry in reversed(older):
            if (
                bases[-1].at < self.killed[bases[-1].life] - CHATTER_S
                or entry.standing.wishes != newest.standing.wishes
            ):
                break
            bases.append(entry)
        return bases

    def _candidates(self, room: str, base: Entry, now: float) -> Iterator[Standing]:
        yield from self._in_time(room, base.standing, now)
        at, life, saying = self._said.get(room, NOTHING_SAID)
        if saying is not None and life == base.life:
            for made in standing.after(room, base.standing, saying, at, self.beneath[room]):
                yield from self._in_time(room, made, now)

    def _made_by_saying(self, room: str) -> list[Standing]:
        """How a room stands if what was just said reaches it."""
        at, _, saying = self._said.get(room, NOTHING_SAID)
        entries = self.entries[room]
        if saying is None or not entries:
            return []
        return [*standing.after(room, entries[-1].standing, saying, at, self.beneath[room])]

    def _in_time(self, room: str, stands: Standing, now: float) -> Iterator[Standing]:
        if stands.until is None or now <= stands.until + ROUNDED_S:
            yield stands
        ended = standing.ended(stands, self.beneath[room], now)
        if ended is not None:
            yield ended

    def _look_at_end(self, room: str, before: Entry, stands: Standing, now: float) -> None:
        """What runs towards an end keeps it; and it ends then."""
        announced = self._announced.get(room)
        if announced is None:
            return
        until = announced.until
        if stands.until is not None and abs(stands.since - announced.since) <= ROUNDED_S:
            if abs(stands.until - until) <= ROUNDED_S:
                return
            if self._over.get(room, 0.0) < announced.at:
                self.wrong(f"{room}: its end moved from {until:.0f} to {stands.until:.0f}")
        del self._announced[room]
        if self._ended_by_itself(room, before.standing, stands, announced):
            self.ends += 1
            late_s = now - until - ROUNDED_S if before.life == self.life else 0.0
            if now < until or late_s > self._late_s:
                self.wrong(f"{room}: its end was to be {until:.0f}, and was heard at {now:.1f}")
            if stands.occupancy == "vacant" and abs(stands.since - until) > ROUNDED_S:
                self.wrong(f"{room}: its end was to be {until:.0f}, and it is vacant since {stands.since:.0f}")

    def _ended_by_itself(self, room: str, before: Standing, stands: Standing, announced: Announced) -> bool:
        if before.hold is not None:
            return stands.hold is None and self._over.get(room, 0.0) < announced.at
        return before.occupancy == "grace" and stands.occupancy == "vacant"
