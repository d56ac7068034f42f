"""The outlet of one room.

Three clocks drive it besides new targets: each lamp's pace, a refresh on a grid of the steady clock that is the
room's own (so rooms are spread over the time and nothing about it needs remembering), and repeats after a reconnect.
Commands in flight are bounded for the whole building, so that nothing of ours queues up behind a slow broker where a
hold could no longer call it back.
"""

import hashlib
from collections.abc import Iterable, Iterator
from functools import lru_cache

import msgspec
from msgspec.structs import replace

from leerie.config.building import Building, Fixture
from leerie.fixtures.lamp import Lamp
from leerie.messages import AT_ONCE, RETAINED_AT_ONCE, Publish
from leerie.notes import Cause, Coalesced, Commanded, Note
from leerie.now import MINUTE_MS, Now
from leerie.outlet.slot import Slot, Told, Waiting, aim, next_allowed
from leerie.reasons import LampReason, Sent
from leerie.targets.room import Target

REPEATS_MS = (30_000, 2 * MINUTE_MS)
"""After a reconnect a lamp is told again: at once, and after these."""
REPEAT_SPREAD_MS = 10_000
"""The first repeat of a whole building is spread over this."""
LAST_EXPIRY_S = 300
"""Message expiry for a lamp that is never refreshed."""


class Window(msgspec.Struct):
    """Commands of the whole building that the broker has not yet acknowledged."""

    size: int = AT_ONCE - RETAINED_AT_ONCE
    ticket: int = 0
    flying: dict[int, tuple[str, str]] = {}
    """Ticket → fixture, topic."""

    starving: dict[str, tuple[str, int]] = {}
    """Lamps whose command found the window full → room, messages. There are none while nothing flies."""

    def open(self, at_once: int) -> None:
        """The broker takes so many publishes at a time. What is handed over beyond that waits where no hold can call
        it back.
        """
        self.size = max(1, min(at_once, AT_ONCE) - RETAINED_AT_ONCE)

    def admits(self, messages: int) -> bool:
        """May a command of so many messages go out? One larger than the window goes when nothing else flies."""
        return not self.flying or len(self.flying) + messages <= self.size

    def fed(self) -> tuple[str, ...]:
        """The rooms with a lamp whose command would be admitted now; it starves no longer."""
        lamps = [lamp for lamp, (_, messages) in self.starving.items() if self.admits(messages)]
        return tuple(dict.fromkeys(self.starving.pop(lamp)[0] for lamp in lamps))

    def lost(self) -> None:
        """Nothing that was in flight counts any more, and whoever waits is told anew what to say."""
        self.flying.clear()
        self.starving.clear()

    def take(self, fixture: str, topic: str) -> int:
        self.ticket += 1
        self.flying[self.ticket] = (fixture, topic)
        return self.ticket


class Outlet:
    """One room's lamps."""

    def __init__(self, building: Building, room: str, slots: dict[str, Slot], window: Window) -> None:
        self.name = room
        names = building.rooms[room].fixtures
        self.slots = {name: slots.get(name, Slot()) for name in names}
        """Part of the room's record."""
        self._fixtures: dict[str, Fixture] = {name: building.fixtures[name] for name in names}
        self._lamps = {name: Lamp(fixture) for name, fixture in self._fixtures.items()}
        self._sizes = {name: _messages_at_most(fixture) for name, fixture in self._fixtures.items()}
        self._window = window
        self._repeats: tuple[int, ...] = ()
        self._refreshed = 0
        """Steady ms up to which refreshes are done."""

    # ---- what is to be told ------------------------------------------------------------------------------------------

    def aim(
        self, targets: tuple[Target, ...], cause: Cause, *, force: bool = False, gliding: bool = False
    ) -> list[Note]:
        """Bring every lamp to its target."""
        notes: list[Note] = []
        for target in targets:
            before = self.slots[target.lamp]
            after = aim(before, target, cause, force=force, gliding=gliding)
            if before.waiting is not None and after.waiting != before.waiting:
                notes.append(Coalesced(target.lamp))
            self.slots[target.lamp] = after
        return notes

    def drop(self) -> None:
        """Hands off: nothing that waits goes out any more."""
        for name, slot in self.slots.items():
            if slot.waiting is not None:
                self.slots[name] = replace(slot, waiting=None)  # trial: hands off drops what waits

    # ---- when --------------------------------------------------------------------------------------------------------

    def reconnected(self, now_ms: int, share: float) -> None:
        """Plan the repeats after a (re)connect; `share` 0…1 is the room's place in the building's spread."""
        first = now_ms + int(share * REPEAT_SPREAD_MS)
        self._repeats = (first, *(first + later for later in REPEATS_MS))
        self._refreshed = now_ms

    def resumed(self, done_ms: int) -> None:
        """Go on where refreshes are done up to that steady ms."""
        self._refreshed = done_ms

    def disconnected(self) -> None:
        self._repeats = ()

    def repeats_due(self, now_ms: int) -> tuple[str, ...]:
        """Lamps to be told again now, whatever they were told; each moment is named once. Only lamps leerie has
        commanded.
        """
        told = tuple(name for name, slot in self.slots.items() if slot.told is not None)
        if self._repeats and self._repeats[0] <= now_ms:
            self._repeats = tuple(at for at in self._repeats if at > now_ms)
            return told  # trial: repeated after a reconnect
        return ()

    def refreshes_due(self, now_ms: int) -> tuple[str, ...]:
        """Lamps whose refresh has come since it was last asked."""
        due = tuple(
            name
            for name, slot in self.slots.items()
            if slot.told is not None and (self._next_refresh(name) or now_ms + 1) <= now_ms
        )
        self._refreshed = max(self._refreshed, now_ms)
        return due

    def _next_refresh(self, name: str) -> int | None:
        period = self._fixtures[name].refresh_ms
        if period is None:
            return None
        phase = _phase(self.name, period)
        return ((self._refreshed - phase) // period + 1) * period + phase

    def due(self, *, online: bool, hands_off: bool) -> int | None:
        """The steady ms at which something of this room must be looked at again."""
        if not online:
            return None
        moments = list(self._pace_moments())
        if not hands_off:
            moments.extend(self._repeats[:1])
            refreshes = (self._next_refresh(name) for name, slot in self.slots.items() if slot.told is not None)
            moments.extend(at for at in refreshes if at is not None)
        return min(moments, default=None)

    def _pace_moments(self) -> Iterator[int]:
        for name, slot in self.slots.items():
            if slot.waiting is not None and name not in self._window.starving:
                yield next_allowed(slot, self._fixtures[name].pace_ms)

    # ---- telling -----------------------------------------------------------------------------------------------------

    def tell(self, now: Now, *, paced: bool = True) -> tuple[list[Publish], list[Note]]:
        """Tell every lamp that waits and may be told now.

        Last words, before hands go off and at a clean stop, wait neither for a lamp's pace nor for the window: there is
        no later in which they could be said.
        """
        publishes: list[Publish] = []
        notes: list[Note] = []
        for name, slot in self.slots.items():
            waiting = slot.waiting
            if waiting is None or (paced and next_allowed(slot, self._fixtures[name].pace_ms) > now.steady):
                continue
            if paced and not self._window.admits(self._sizes[name]):
                self._window.starving[name] = (self.name, self._sizes[name])  # trial: the window is full
                continue
            self._window.starving.pop(name, None)
            messages = self._messages(name, slot, waiting)
            publishes.extend(
                Publish(self._window.take(name, topic), topic, payload, self._expiry_s(name))
                for topic, payload in messages
            )
            self.slots[name] = Slot(Told(waiting.level, waiting.kelvin, now, waiting.xy))
            notes.append(Commanded(self.name, name, waiting.cause, waiting.level, waiting.kelvin, len(messages)))
        return publishes, notes

    def reasons(self, targets: Iterable[Target]) -> Iterator[LampReason]:
        """Why each lamp is to be so, down to what is sent for it."""
        return (replace(target.reason, sent=self._sent(target)) for target in targets)

    def _sent(self, target: Target) -> Sent:
        fixture, lamp = self._fixtures[target.lamp], self._lamps[target.lamp]
        driven = lamp.driven(target.level)
        waiting = Waiting(target.level, target.kelvin, "refresh", target.xy)
        messages = self._messages(target.lamp, self.slots[target.lamp], waiting)
        return Sent(
            output=driven.output,
            device=driven.device,
            curve="response" if fixture.response is not None else fixture.curve,
            trim=fixture.trim,
            messages=tuple((topic, payload.decode()) for topic, payload in messages),
        )

    def _messages(self, name: str, slot: Slot, waiting: Waiting) -> tuple[tuple[str, bytes], ...]:
        fixture = self._fixtures[name]
        falls = slot.told is not None and waiting.level < slot.told.level
        fade = fixture.fade_down_ms if falls or waiting.level == 0 else fixture.fade_up_ms
        return self._lamps[name].messages(waiting.level, waiting.kelvin, fade, waiting.xy)

    def _expiry_s(self, name: str) -> int:
        """A command that could not be delivered before the next refresh is stale: that one will say it afresh."""
        period = self._fixtures[name].refresh_ms
        return LAST_EXPIRY_S if period is None else max(1, period // 1_000)


def _messages_at_most(fixture: Fixture) -> int:
    return max(len(fixture.messages), len(fixture.when_off or ()))


@lru_cache(maxsize=1_024)
def _phase(room: str, period: int) -> int:
    """Where in a period this room's refreshes lie: fixed by its name, spread evenly over rooms."""
    digest = hashlib.blake2b(room.encode(), digest_size=8).digest()
    return int.from_bytes(digest) % period
