"""The controller at work: what it is told, and what follows from its outcomes, always in one order, lamps first:
commands → acknowledgement of what came in → records → room states and sky → log.

Commands and acknowledgements go at once. The rest is gathered over a turn of the loop, for writing records takes some
milliseconds however many there are: with messages coming faster than that, one write serves all that came meanwhile.
A wish is written down before the next message is looked at.
"""

import time
from collections.abc import Callable, Mapping
from zoneinfo import ZoneInfo

from leerie import record
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.messages import Outcome
from leerie.notes import Heard, Note
from leerie.now import SECOND_MS, Now
from leerie.parting import Partings
from leerie.runtime.clock import Clock
from leerie.runtime.events import Arrived
from leerie.runtime.herald import Herald
from leerie.runtime.link import Link
from leerie.runtime.log import Log
from leerie.runtime.metrics import Metrics
from leerie.runtime.reload import heard_anew
from leerie.runtime.telling import Teller
from leerie.views import RoomView, SkyView

MakeController = Callable[..., Controller]
WISHES = ("hold", "ask", "bias", "button")
"""Kinds of messages by which people say what they want."""


class Deciding:
    """Belongs to the deciding thread. There is no controller before the records are known."""

    def __init__(
        self,
        building: Building,
        log: Log,
        clock: Clock,
        make: MakeController,
        link: Link,
        herald: Herald,
        metrics: Metrics,
    ) -> None:
        self.building = building
        self.controller: Controller | None = None
        self._log = log
        self._clock = clock
        self._make = make
        self._link = link
        self._herald = herald
        self._metrics = metrics
        self._partings = Partings()
        self._advanced_ms = 0
        self._clock_known = False
        self._written_us = 0
        """When the newest record was written, by the wall clock of then."""
        self._records: dict[str, None] = {}
        """Rooms whose records are to be written."""
        self._views: dict[str, RoomView] = {}
        self._sky: SkyView | None = None
        self._notes: list[tuple[Note, ...]] = []
        self._look_at_the_building()

    def begin(self, folder: Mapping[str, bytes], broker: Mapping[str, bytes]) -> None:
        """All records are here, the folder's by room and the broker's by topic: of each room's two the right one."""
        rooms = {
            room: record.choose(folder.get(room), broker.get(self._herald.topic("memory", room)))
            for room in self.building.rooms
        }
        memory = {room: body for room, body in rooms.items() if body is not None}
        self._log.tell("records found", rooms=len(memory), of=len(rooms))
        self._written_us = max((written for body in memory.values() if (written := record.written(body))), default=0)
        self._clock_known = self._clock_is_known()
        self._metrics.clock_known(self._clock_known)
        if not self._clock_known:
            self._log.tell("the clock is not known to be right")
        self._make_controller(memory)

    def follow(self) -> None:
        """The connection stands: hear what the broker kept, and all that comes."""
        if self.controller is not None:
            self.controller.linked(self._clock.now())
            self._link.follow(self._wanted(self.controller))

    def settled(self, now: Now) -> None:
        if self.controller is not None:
            self._say_partings()
            self._apply(self.controller.settled(now, self._link.at_once))
            self.conclude(now)

    def lost(self) -> None:
        if self.controller is not None:
            self.controller.lost(self._clock.now())

    def receive(self, event: Arrived) -> None:
        if self.controller is not None:
            now = self._clock.now()
            outcome = self.controller.receive(event.message, now)
            self._apply(outcome, event)
            if any(isinstance(note, Heard) and note.kind in WISHES for note in outcome.notes):
                self.conclude(now)

    def acknowledged(self, ticket: int, *, ok: bool) -> None:
        if self.controller is not None:
            self.controller.acknowledged(ticket, ok, self._clock.now())

    def due(self) -> int | None:
        """Steady ms at which there is something to decide."""
        return None if self.controller is None else self.controller.due()

    def advance(self, now: Now) -> None:
        """Decide what is due; or, once a second, whether the wall clock has stepped, which makes no sound."""
        due = self.due()
        controller = self.controller
        overdue = due is not None and due <= now.steady
        if controller is None or not (overdue or now.steady >= self._advanced_ms + SECOND_MS):
            return
        self._advanced_ms = now.steady
        self._apply(controller.advance(now))
        if not self._clock_known and self._clock_is_known():
            self._clock_known = True
            self._metrics.clock_known(True)
            self._log.tell("the clock is known to be right")
            self._apply(controller.clock_known(now))

    def conclude(self, now: Now) -> None:
        """Write down, then show, then log what has been decided in this turn."""
        if self.controller is None:
            return
        records, views, sky, told = self._records, tuple(self._views.values()), self._sky, self._notes
        self._records, self._views, self._sky, self._notes = {}, {}, None, []
        self._herald.remember(self.controller, records)
        self._herald.show(views, sky, self._zone)
        self._link.flush(now.steady)
        for notes in told:
            self._metrics.count(notes)
            self._teller.tell(notes, now)

    def farewell(self, now: Now) -> None:
        if self.controller is not None:
            self._apply(self.controller.farewell(now))
            self.conclude(now)

    def take_over(self, building: Building) -> None:
        """Another config holds: another controller goes on from the rooms' records as they are now."""
        before, controller, now = self.building, self.controller, self._clock.now()
        if controller is not None:  # what this turn has brought so far still speaks of the old one's rooms and lamps
            self._apply(controller.advance(now))
            self.conclude(now)
        self.building = building
        self._look_at_the_building()
        self._metrics.follow(building)
        if controller is None:
            return
        memory = controller.handover(now)
        for room in self._partings.part(before, building, memory):
            self._herald.forget(room)
        if self._link.up:
            self._say_partings()
        successor = self._make_controller(memory)
        if self._link.up:
            successor.linked(now)
            anew = tuple(heard_anew(before, building))
            heard = [filter_ for filter_ in self._wanted(controller) if filter_ not in anew]
            self._link.follow_instead(heard, self._wanted(successor))
        elif self._link.connected:
            self.follow()

    # ---- behind it ---------------------------------------------------------------------------------------------------

    def _apply(self, outcome: Outcome, arrived: Arrived | None = None) -> None:
        for publish in outcome.commands:
            self._link.command(publish)
        if arrived is not None:
            if outcome.commands:
                self._metrics.decision.observe(time.perf_counter() - arrived.heard)
            self._link.acknowledge(arrived.receipt)
        self._records.update(dict.fromkeys(outcome.records))
        self._views.update((view.room, view) for view in outcome.rooms)
        self._sky = outcome.sky or self._sky
        self._notes.append(outcome.notes)

    def _say_partings(self) -> None:
        for publish in self._partings.say():
            self._link.command(publish)

    def _look_at_the_building(self) -> None:
        self._zone = ZoneInfo(self.building.site.timezone)
        self._teller = Teller(self._log, self._zone)

    def _make_controller(self, memory: Mapping[str, bytes]) -> Controller:
        self.controller = self._make(self.building, memory, self._clock.boot, clock_known=self._clock_known)
        return self.controller

    def _wanted(self, controller: Controller) -> tuple[str, ...]:
        return (*controller.filters(), self._herald.topic("service"))

    def _clock_is_known(self) -> bool:
        return self._clock.known(self.building.service.trust_clock_after_ms, self._written_us)
