"""The daemon: holds the controller between a real broker and a real clock. One thread decides, and it is this one."""

import threading
import time
from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from zoneinfo import ZoneInfo

from leerie.config.building import Building
from leerie.controller import Controller
from leerie.messages import Message
from leerie.now import MINUTE_MS, Now
from leerie.pages import front
from leerie.runtime import page
from leerie.runtime.clock import Clock
from leerie.runtime.deciding import Deciding, MakeController
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
from leerie.runtime.herald import Herald
from leerie.runtime.instance import FAREWELL, Instance, says_stopped
from leerie.runtime.journal import Journal
from leerie.runtime.keeper import Keeper
from leerie.runtime.link import CAP_S, Link
from leerie.runtime.log import Log
from leerie.runtime.metrics import Metrics
from leerie.runtime.pulse import Pulse
from leerie.runtime.recorded import recording
from leerie.runtime.reload import Read, ReloadError, difference, read_anew
from leerie.runtime.wake import Wake

LEAVE_S = 0.7
"""A clean stop waits no longer for the broker."""


class Daemon:
    """One run. `stop()` and `reload()` may come from any thread; all else belongs to the one that calls `run()`."""

    def __init__(
        self,
        building: Building,
        log: Log,
        clock: Clock | None = None,
        make: MakeController = Controller,
        *,
        read: Read | None = None,
    ) -> None:
        """`read`: reads the config anew when `reload()` asks for it."""
        self._building = building
        self._log = log
        self._clock = clock or Clock()
        self._read = read
        self._instance = Instance(self._clock.now().wall, ZoneInfo(building.site.timezone))
        self._wake = Wake()
        self._link = Link(
            building.broker,
            self._wake,
            instance=self._instance.name,
            farewell=FAREWELL,
            displaces=self._instance.displaced_by,
        )
        self._keeper = Keeper(building.service.state_dir, log)
        self._journal = Journal(building.service.state_dir, building.service.journal, log)
        self._metrics = Metrics(building, self._clock.now)
        self._herald = Herald(self._link, self._keeper, self._metrics, building.broker.topics)
        self._topic = self._herald.topic
        make = recording(make, self._journal)
        self._deciding = Deciding(building, log, self._clock, make, self._link, self._herald, self._metrics)
        self._linked_before = False
        self._denied: list[str] = []
        self._card_due_ms = 0
        self._pulse = Pulse(lambda: self._link.up)
        self._metrics.watch("deciding", lambda: self._pulse.ailment() is None)
        self._metrics.watch("records", self._keeper.works)
        self._metrics.watch("journal", self._journal.works)
        self._reloading = False
        self._stopping = False
        self._displaced = False

    def stop(self) -> None:
        """End `run()` soon and cleanly."""
        self._stopping = True
        self._wake.call()

    def reload(self) -> None:
        """Read the config anew, soon."""
        self._reloading = True
        self._wake.call()

    def run(self) -> int:
        """Run until stopped and return the exit code: 0, or 1 when another daemon has taken our place."""
        with ExitStack() as stack:
            stack.callback(self._wake.close)
            stack.enter_context(self._keeper)
            stack.enter_context(self._journal)
            stack.enter_context(
                page.serving(
                    self._building.service.metrics, self._metrics.registry, self._pulse, self._front, self._log
                )
            )
            if threading.current_thread() is threading.main_thread():
                stack.enter_context(self._wake.signals(self.stop, self.reload))
            while not self._stopping:
                self._turn()
            self._leave()
        return 1 if self._displaced else 0

    def _front(self) -> bytes:
        """The page at `/`, in the thread of who asks for it."""
        return front.page(self._metrics.seen(self._pulse.ailment()))

    # ---- one turn of the loop ----------------------------------------------------------------------------------------

    def _turn(self) -> None:
        for event in self._link.step(self._patience_s()):
            self._on(event)
        if self._reloading:
            self._reload()
        now = self._clock.now()
        self._deciding.advance(now)
        self._deciding.conclude(now)
        if self._link.up and now.steady >= self._card_due_ms:
            self._show_card(now)
        self._link.flush(now.steady)
        self._pulse.beat()

    def _patience_s(self) -> float:
        """Real seconds until something is due by the clock."""
        dues = (self._link.due(), self._deciding.due())
        due = min((due for due in dues if due is not None), default=None)
        return CAP_S if due is None else self._clock.real_s(due - self._clock.now().steady)

    def _on(self, event: Event) -> None:
        match event:
            case Arrived():
                self._receive(event)
            case Acknowledged(ticket, ok):
                self._deciding.acknowledged(ticket, ok=ok)
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
                self._deciding.conclude(self._clock.now())  # what came before it is told before it
                self._log.tell("connection lost", broker=self._address, why=why)
                self._metrics.connected(False)
                self._deciding.lost()
            case Unreachable(why):
                self._log.tell("not connected, trying again", broker=self._address, why=why)
            case Denied(topic) if topic not in self._denied:
                self._denied.append(topic)
                self._log.tell("the broker does not let us publish", topic=topic)
            case _:
                pass

    def _receive(self, event: Arrived) -> None:
        if event.message.topic == self._topic("service"):
            self._link.acknowledge(event.receipt)
            self._look_at(event.message)
        else:
            self._deciding.receive(event)

    # ---- another config ----------------------------------------------------------------------------------------------

    def _reload(self) -> None:
        """Take over the config as it stands now, whole; or say what is wrong with it, and go on as before."""
        self._reloading = False
        if self._read is None:
            return
        try:
            building = read_anew(self._read, self._deciding.building)
        except ReloadError as wrong:
            self._metrics.reloaded(ok=False)
            for line in str(wrong).splitlines():
                self._log.tell("reload refused", why=line)
            return
        changes = difference(self._deciding.building, building)
        self._deciding.take_over(building)
        self._metrics.reloaded(ok=True)
        self._log.tell(
            "reloaded", rooms=len(building.rooms), new=changes.new, gone=changes.gone, changed=changes.changed
        )

    # ---- the link comes and goes -------------------------------------------------------------------------------------

    def _begin(self, version: str) -> None:
        self._log.tell("connected", broker=self._address, mqtt=version)
        if self._linked_before:
            self._metrics.reconnects.inc()
        self._linked_before = True
        if self._deciding.controller is None:
            topics = {self._topic("memory", room) for room in self._deciding.building.rooms}
            self._link.recall(self._topic("memory", "#"), topics)
        else:
            self._deciding.follow()

    def _recall(self, records: Mapping[str, bytes], unserved: Iterable[str]) -> None:
        """The broker's records are here, and the controller can begin."""
        self._name(unserved)
        self._deciding.begin(self._keeper.read(), records)
        self._deciding.follow()

    def _settle(self, unserved: Iterable[str]) -> None:
        self._name(unserved)
        self._metrics.connected(True)
        now = self._clock.now()
        self._show_card(now)
        self._deciding.settled(now)
        self._log.tell("settled", rooms=len(self._deciding.building.rooms))

    def _name(self, unserved: Iterable[str]) -> None:
        for filter_ in unserved:
            self._log.tell("the broker does not serve us, its access list may say why", topic=filter_)

    # ---- what we say of ourselves ------------------------------------------------------------------------------------

    def _show_card(self, now: Now) -> None:
        self._card_due_ms = now.steady + MINUTE_MS
        self._herald.card(self._instance, now.wall)

    def _look_at(self, message: Message) -> None:
        """What somebody says on our own topic; what was kept may be our own from before a clock was set."""
        if message.retained:
            return
        if self._instance.displaced_by(message.payload):
            self._give_way(message.payload)
        elif self._link.up and says_stopped(message.payload):
            self._show_card(self._clock.now())  # the will of one that is gone has taken the place of our own card

    def _give_way(self, card: bytes) -> None:
        self._log.tell(
            "another leerie, begun later, runs on the same topics: this one stops; give each its own broker.topics",
            client_id=self._building.broker.client_id,
            other=card.decode(errors="replace"),
        )
        self._displaced = self._stopping = True

    def _leave(self) -> None:
        """Say farewell, wait a moment for the broker to take it, and go."""
        now = self._clock.now()
        if self._link.up and not self._displaced:
            self._deciding.farewell(now)
            self._herald.farewell()
            end_s = time.monotonic() + LEAVE_S
            while not self._link.idle and self._link.up and (left_s := end_s - time.monotonic()) > 0:
                self._link.flush(self._clock.now().steady)
                for _ in self._link.step(min(left_s, 0.05)):
                    pass  # too late for decisions; the link itself takes note of what the broker has taken
        self._link.close()
        self._log.tell("stopped")

    @property
    def _address(self) -> str:
        return f"{self._building.broker.host}:{self._building.broker.port}"
