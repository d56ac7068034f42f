"""The daemon: holds the controller between a real broker and a real clock. One thread decides, and it is this one.

Each step hands over in one order, lamps first:
commands → acknowledgement of what came in → records → room states and sky → log.
"""

import threading
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from functools import partial
from zoneinfo import ZoneInfo

from structlog.typing import FilteringBoundLogger

from leerie import record, report
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.messages import Message, Outcome
from leerie.now import MINUTE_MS, SECOND_MS, Now
from leerie.runtime import page
from leerie.runtime.clock import Clock
from leerie.runtime.events import (
    Acknowledged,
    Arrived,
    Denied,
    Displaced,
    Event,
    Linked,
    Lost,
    Recalled,
    Settled,
    Unreachable,
)
from leerie.runtime.instance import FAREWELL, Instance, says_stopped
from leerie.runtime.keeper import Keeper
from leerie.runtime.link import CAP_S, Link
from leerie.runtime.metrics import Metrics
from leerie.runtime.pulse import Pulse
from leerie.runtime.telling import Teller
from leerie.runtime.wake import Wake
from leerie.views import RoomView, SkyView

STATE_GAP_MS = 200
"""A room's state goes out at most five times a second, the newest last."""
LEAVE_S = 0.7
"""A clean stop waits no longer for the broker."""

MakeController = Callable[[Building, Mapping[str, bytes], str], Controller]


class Daemon:
    """One run. `stop()` may come from any thread; all else belongs to the one that calls `run()`."""

    def __init__(
        self,
        building: Building,
        log: FilteringBoundLogger,
        clock: Clock | None = None,
        make: MakeController = Controller,
    ) -> None:
        self._building = building
        self._log = log
        self._clock = clock or Clock()
        self._make = make
        self._zone = ZoneInfo(building.site.timezone)
        self._root = building.broker.topics
        self._instance = Instance(self._clock.now().wall, self._zone)
        self._wake = Wake()
        self._link = Link(
            building.broker,
            self._wake,
            instance=self._instance.name,
            farewell=FAREWELL,
            displaces=self._instance.displaced_by,
        )
        self._keeper = Keeper(building.service.state_dir, log)
        self._metrics = Metrics(building, self._clock.now)
        self._teller = Teller(log, self._zone)
        self._controller: Controller | None = None
        self._linked_before = False
        self._denied: list[str] = []
        self._card_due_ms = 0
        self._advanced_ms = 0
        self._pulse = Pulse(lambda: self._link.up)
        self._stopping = False
        self._displaced = False

    def stop(self) -> None:
        """End `run()` soon and cleanly."""
        self._stopping = True
        self._wake.call()

    def run(self) -> int:
        """Run until stopped and return the exit code: 0, or 1 when another daemon has taken our place."""
        with ExitStack() as stack:
            stack.callback(self._wake.close)
            stack.enter_context(self._keeper)
            stack.enter_context(
                page.serving(self._building.service.metrics, self._metrics.registry, self._pulse, self._log)
            )
            if threading.current_thread() is threading.main_thread():
                stack.enter_context(self._wake.signals(self.stop))
            while not self._stopping:
                self._turn()
            self._leave()
        return 1 if self._displaced else 0

    # ---- one turn of the loop ----------------------------------------------------------------------------------------

    def _turn(self) -> None:
        for event in self._link.step(self._patience_s()):
            self._on(event)
        now = self._clock.now()
        controller = self._controller
        if controller is not None and self._to_advance(controller.due(), now):
            self._advanced_ms = now.steady
            self._apply(controller.advance(now), now)
        if self._link.up and now.steady >= self._card_due_ms:
            self._show_card(now)
        self._link.flush(now.steady)
        self._pulse.beat()

    def _to_advance(self, due: int | None, now: Now) -> bool:
        """Something is due; or a second is over, since a wall clock that steps makes no sound."""
        return (due is not None and due <= now.steady) or now.steady >= self._advanced_ms + SECOND_MS

    def _patience_s(self) -> float:
        """Real seconds until something is due by the clock."""
        dues = [self._link.due(), self._controller.due() if self._controller is not None else None]
        due = min((due for due in dues if due is not None), default=None)
        return CAP_S if due is None else self._clock.real_s(due - self._clock.now().steady)

    def _on(self, event: Event) -> None:
        match event:
            case Arrived():
                self._receive(event)
            case Acknowledged(ticket, ok) if self._controller is not None:
                self._controller.acknowledged(ticket, ok, self._clock.now())
            case Linked(version):
                self._begin(version)
            case Recalled(records, unserved):
                self._recall(records, unserved)
            case Settled(unserved):
                self._settle(unserved)
            case Displaced(card):
                self._give_way(card)
            case _:
                self._complain(event)

    def _complain(self, event: Event) -> None:
        match event:
            case Lost(why):
                self._log.warning("connection lost", broker=self._address, why=why)
                self._metrics.connected(False)
                if self._controller is not None:
                    self._controller.lost(self._clock.now())
            case Unreachable(why):
                self._log.error("not connected, trying again", broker=self._address, why=why)
            case Denied(topic) if topic not in self._denied:
                self._denied.append(topic)
                self._log.error("the broker does not let us publish", topic=topic)
            case _:
                pass

    def _receive(self, event: Arrived) -> None:
        if event.message.topic == self._topic("service"):
            self._link.acknowledge(event.receipt)
            self._look_at(event.message)
        elif self._controller is not None:
            now = self._clock.now()
            self._apply(self._controller.receive(event.message, now), now, event)

    def _apply(self, outcome: Outcome, now: Now, arrived: Arrived | None = None) -> None:
        for publish in outcome.commands:
            self._link.command(publish)
        if arrived is not None:
            if outcome.commands:
                self._metrics.decision.observe(time.perf_counter() - arrived.heard)
            self._link.acknowledge(arrived.receipt)
        self._remember(outcome.records)
        self._show(outcome.rooms, outcome.sky)
        self._link.flush(now.steady)
        self._metrics.count(outcome.notes)
        self._teller.tell(outcome.notes, now)

    def _remember(self, rooms: Iterable[str]) -> None:
        controller = self._controller
        bodies = {room: controller.memory(room) for room in rooms} if controller is not None else {}
        self._keeper.keep(bodies)
        for room, body in bodies.items():
            self._link.retain(self._topic("memory", room), partial(bytes, body))

    def _show(self, rooms: Iterable[RoomView], sky: SkyView | None) -> None:
        self._metrics.show(rooms, sky)
        for view in rooms:
            words = partial(report.room_state, view, self._zone)
            self._link.retain(self._topic("room", view.room, "state"), words, STATE_GAP_MS)
        if sky is not None:
            self._link.retain(self._topic("sky"), partial(report.sky, sky, self._zone))

    # ---- the link comes and goes -------------------------------------------------------------------------------------

    def _begin(self, version: str) -> None:
        self._log.info("connected", broker=self._address, mqtt=version)
        if self._linked_before:
            self._metrics.reconnects.inc()
        self._linked_before = True
        if self._controller is None:
            topics = {self._topic("memory", room) for room in self._building.rooms}
            self._link.recall(self._topic("memory", "#"), topics)
        else:
            self._follow(self._controller)

    def _recall(self, records: Mapping[str, bytes], unserved: Iterable[str]) -> None:
        """The broker's records are here: of each room's two the right one, and the controller can begin."""
        self._name(unserved)
        folder = self._keeper.read()
        rooms = {
            room: record.choose(folder.get(room), records.get(self._topic("memory", room)))
            for room in self._building.rooms
        }
        memory = {room: body for room, body in rooms.items() if body is not None}
        self._log.info("records found", rooms=len(memory), of=len(rooms))
        self._controller = self._make(self._building, memory, self._clock.boot)
        self._follow(self._controller)

    def _follow(self, controller: Controller) -> None:
        controller.linked(self._clock.now())
        self._link.follow((*controller.filters(), self._topic("service")))

    def _settle(self, unserved: Iterable[str]) -> None:
        self._name(unserved)
        self._metrics.connected(True)
        now = self._clock.now()
        self._show_card(now)
        if self._controller is not None:
            self._apply(self._controller.settled(now), now)
        self._log.info("settled", rooms=len(self._building.rooms))

    def _name(self, unserved: Iterable[str]) -> None:
        for filter_ in unserved:
            self._log.error("the broker does not serve us, its access list may say why", topic=filter_)

    # ---- what we say of ourselves ------------------------------------------------------------------------------------

    def _show_card(self, now: Now) -> None:
        self._card_due_ms = now.steady + MINUTE_MS
        self._link.retain(self._topic("service"), lambda: self._instance.card(now.wall), SECOND_MS)

    def _look_at(self, message: Message) -> None:
        """What somebody says on our own topic; what was kept may be our own from before a clock was set."""
        if message.retained:
            return
        if self._instance.displaced_by(message.payload):
            self._give_way(message.payload)
        elif self._link.up and says_stopped(message.payload):
            self._show_card(self._clock.now())  # the will of one that is gone has taken the place of our own card

    def _give_way(self, card: bytes) -> None:
        self._log.error(
            "another leerie, begun later, runs on the same topics: this one stops; give each its own broker.topics",
            client_id=self._building.broker.client_id,
            other=card.decode(errors="replace"),
        )
        self._displaced = self._stopping = True

    def _leave(self) -> None:
        """Say farewell, wait a moment for the broker to take it, and go."""
        now = self._clock.now()
        if self._link.up and not self._displaced:
            if self._controller is not None:
                self._apply(self._controller.farewell(now), now)
            self._link.retain(self._topic("service"), lambda: FAREWELL)
            end_s = time.monotonic() + LEAVE_S
            while not self._link.idle and self._link.up and (left_s := end_s - time.monotonic()) > 0:
                self._link.flush(self._clock.now().steady)
                for _ in self._link.step(min(left_s, 0.05)):
                    pass  # too late for decisions; the link itself takes note of what the broker has taken
        self._link.close()
        self._log.info("stopped")

    @property
    def _address(self) -> str:
        return f"{self._building.broker.host}:{self._building.broker.port}"

    def _topic(self, *levels: str) -> str:
        return "/".join((self._root, *levels))
