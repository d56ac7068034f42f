"""A controller whose every call goes into the journal. It decides nothing, and changes nothing that is decided."""

from collections.abc import Callable, Iterator, Mapping
from datetime import timedelta
from itertools import chain, repeat
from typing import Literal, cast
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from leerie import __version__
from leerie.config.building import Building
from leerie.controller import CLOCK_STEP_US, Controller
from leerie.daylight import civil
from leerie.daylight.outdoors import Outdoors
from leerie.journal import Call, Known, Noted, Step, Stretch, Why, digest, is_kept
from leerie.messages import AT_ONCE, Message, Outcome
from leerie.notes import Heard
from leerie.now import MINUTE_MS, Now
from leerie.runtime.journal import Journal

AT_LEAST_MS = MINUTE_MS
"""So often an entry is written when nothing happens: how far the journal reaches."""


class Recorded:
    """Has the controller's own methods."""

    def __init__(
        self,
        controller: Controller,
        journal: Journal,
        building: Building,
        memory: Mapping[str, bytes],
        boot: str,
        *,
        clock_known: bool = True,
        why: Literal["start", "reload"] = "start",
    ) -> None:
        """`building` to `clock_known`: what the controller was made of; `why` it was."""
        self._controller = controller
        self._journal = journal
        self._zone = ZoneInfo(building.site.timezone)
        self._config = digest(building)
        self._boot = boot
        self._made = why
        self._known = Known(clock=clock_known)
        self._memory: dict[str, bytes] | None = dict(memory)
        """What it begins with, until the first instant is known."""
        self._day_us = (0, 0)
        """From when to when it lasts, wall clock µs UTC."""
        self._offset_us: int | None = None
        self._written_ms = 0
        self._advanced_ms = 0

    # ---- the controller's methods ------------------------------------------------------------------------------------

    def filters(self) -> tuple[str, ...]:
        return self._controller.filters()

    def linked(self, now: Now) -> None:
        self._write("linked", now)
        self._controller.linked(now)

    def settled(self, now: Now, at_once: int = AT_ONCE) -> Outcome:
        self._write("settled", now, number=at_once)
        self._known = replace(self._known, online=True)
        self._advanced_ms = now.steady
        return self._noted(self._controller.settled(now, at_once))

    def lost(self, now: Now) -> None:
        self._write("lost", now)
        self._known = replace(self._known, online=False)
        self._controller.lost(now)

    def receive(self, message: Message, now: Now) -> Outcome:
        self._write("receive", now, message)
        outcome = self._noted(self._controller.receive(message, now))
        for note in outcome.notes:
            if isinstance(note, Heard) and note.kind in ("cloud", "outdoor"):
                self._known = replace(self._known, outdoors=_after(self._known.outdoors, note, now))
        return outcome

    def advance(self, now: Now) -> Outcome:
        if self._matters(now):
            self._write("advance", now)
        self._advanced_ms = now.steady
        return self._noted(self._controller.advance(now))

    def clock_known(self, now: Now) -> Outcome:
        self._write("clock_known", now)
        self._known = replace(self._known, clock=True)
        return self._noted(self._controller.clock_known(now))

    def acknowledged(self, ticket: int, ok: bool, now: Now) -> None:
        self._write("taken" if ok else "refused", now, number=ticket)
        self._controller.acknowledged(ticket, ok, now)

    def due(self) -> int | None:
        return self._controller.due()

    def handover(self, now: Now) -> dict[str, bytes]:
        return self._controller.handover(now)

    def memory(self, room: str) -> bytes:
        return self._controller.memory(room)

    def farewell(self, now: Now) -> Outcome:
        self._write("farewell", now)
        return self._noted(self._controller.farewell(now))

    # ---- the journal -------------------------------------------------------------------------------------------------

    def _write(self, call: Call, now: Now, message: Message | None = None, number: int | None = None) -> None:
        self._perhaps_begin(now)
        self._journal.put(Step(call, now, message, number))
        self._written_ms = now.steady

    def _noted(self, outcome: Outcome) -> Outcome:
        if any(map(is_kept, outcome.notes)):
            self._journal.put(Noted(outcome.notes))
        return outcome

    def _matters(self, now: Now) -> bool:
        """Can advancing change anything? Only what is due does, and a wall clock that stepped, as the controller sees
        it; a test holds that the other calls may be left out.
        """
        due = self._controller.due()
        offset = now.wall - now.steady * 1_000
        stepped = self._offset_us is None or abs(offset - self._offset_us) > CLOCK_STEP_US
        if stepped:
            self._offset_us = offset
        return stepped or (due is not None and due <= now.steady) or now.steady >= self._written_ms + AT_LEAST_MS

    def _perhaps_begin(self, now: Now) -> None:
        """Begin a stretch, when it is time for one."""
        if self._memory is not None:
            self._begin(self._made, now, self._memory)
            self._memory = None
            self._offset_us = now.wall - now.steady * 1_000
            return
        first, end = self._day_us
        why = self._journal.wants_stretch or (None if first <= now.wall < end else "midnight")
        if why is not None:
            self._begin(why, now, self._controller.handover(now))

    def _begin(self, why: Why, now: Now, memory: dict[str, bytes]) -> None:
        day = civil.local(self._zone, now.wall).date()
        self._day_us = (civil.moment(self._zone, day, 0), civil.moment(self._zone, day + timedelta(1), 0))
        known = replace(self._known, advanced=self._advanced_ms)
        what = (self._config, self._boot, __version__, memory, known, self._journal.lost)
        self._journal.begin(Stretch(why, now, day.isoformat(), *what))


def recording(make: Callable[..., Controller], journal: Journal) -> Callable[..., Controller]:
    """Makes controllers, each of them recorded if there is a journal. After the first of a run the next one is a
    reload's.
    """

    def made(building: Building, memory: Mapping[str, bytes], boot: str, *, clock_known: bool = True) -> Controller:
        controller = make(building, memory, boot, clock_known=clock_known)
        why = next(whys)
        recorded = Recorded(controller, journal, building, memory, boot, clock_known=clock_known, why=why)
        return cast("Controller", recorded)  # it has all of its methods, as a test holds

    whys: Iterator[Literal["start", "reload"]] = chain(["start"], repeat("reload"))
    return made if journal.on else make


def _after(outdoors: Outdoors, note: Heard, now: Now) -> Outdoors:
    """What is known of the world outdoors after a feed was heard."""
    feed = cast('Literal["cloud", "outdoor"]', note.kind)
    return outdoors.read(feed, None if note.value == "None" else float(note.value), now)
