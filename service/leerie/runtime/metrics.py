"""What Prometheus sees. Events are counted from notes; everything else is made at the scrape.

The deciding thread puts immutable values in place and counts; all other work is the scraping thread's.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import get_args

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector

from leerie import __version__, notes
from leerie.config.building import Building
from leerie.notes import Note
from leerie.now import Now
from leerie.runtime.clock import Clock
from leerie.runtime.scraped import Lamps, Outdoors, Rooms, Sensors
from leerie.views import RoomView, SkyView

KINDS = get_args(notes.Heard.__annotations__["kind"])
BUCKETS_S = (0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0)


class Metrics:
    """One registry. Counts from the deciding thread, is read from the scraping one."""

    def __init__(self, building: Building, now: Callable[[], Now] | None = None) -> None:
        """`now`: the daemon's clock, from any thread; None: this machine's."""
        now = now or Clock().now
        self.registry = CollectorRegistry()
        self.reconnects = self._counter("leerie_broker_reconnects_total", "Connections after the first.")
        self.decision = Histogram(
            "leerie_decision_seconds",
            "From a message's coming in to its last command's handing over to the broker client.",
            buckets=BUCKETS_S,
            registry=self.registry,
        )
        self._received = self._counter("leerie_messages_received_total", "Messages taken.", "kind")
        self._refused = self._counter("leerie_messages_refused_total", "Messages refused whole.", "source", "reason")
        self._commands = self._counter("leerie_commands_sent_total", "Commands to lamps.", "fixture", "cause")
        self._coalesced = self._counter(
            "leerie_commands_coalesced_total", "Commands that a newer one replaced before they went out.", "fixture"
        )
        self._transitions = self._counter(
            "leerie_room_transitions_total", "Moves of a room's occupancy.", "room", "before", "after"
        )
        self._false_offs = self._counter(
            "leerie_room_false_offs_total", "Presence within 60 s of going dark by itself.", "room", "after"
        )
        self._link = Link()
        self._rooms = Rooms(now)
        self._lamps = Lamps(building, self._rooms, now)
        self._sensors = Sensors(building, self._rooms, now)
        self._outdoors = Outdoors(building)
        for collector in (self._link, self._rooms, self._lamps, self._sensors, self._outdoors):
            self.registry.register(collector)
        self._begin_at_zero(building)

    def show(self, views: Iterable[RoomView], sky: SkyView | None = None) -> None:
        """These rooms, and the sky, look like this now."""
        for view in views:
            self._rooms.show(view)
            self._lamps.remembered(view)
        if sky is not None:
            self._outdoors.sky = sky

    def connected(self, yes: bool) -> None:
        self._link.connected = yes

    def count(self, told: Iterable[Note]) -> None:
        """Count what the notes tell."""
        for note in told:
            match note:
                case notes.Heard():
                    self._received.labels(note.kind).inc()
                    self._sensors.heard(note)
                case notes.Refused():
                    self._refused.labels(note.source, note.reason).inc()
                case notes.Commanded():
                    self._commands.labels(note.fixture, note.cause).inc()
                    self._lamps.commanded(note)
                case notes.Coalesced():
                    self._coalesced.labels(note.fixture).inc()
                case notes.Moved():
                    self._transitions.labels(note.room, note.before, note.after).inc()
                case notes.FalseOff():
                    self._false_offs.labels(note.room, note.after).inc()
                case _:
                    pass

    def _counter(self, name: str, text: str, *labels: str) -> Counter:
        return Counter(name, text, labels, registry=self.registry)

    def _begin_at_zero(self, building: Building) -> None:
        """A series that appears with its first event hides that event from rate()."""
        for kind in KINDS:
            self._received.labels(kind)
        for fixture in building.fixtures:
            self._coalesced.labels(fixture)
        for room in building.rooms:
            for after in ("arriving", "occupied"):
                self._false_offs.labels(room, after)


class Link(Collector):
    def __init__(self) -> None:
        self.connected = False

    def collect(self) -> Iterator[Metric]:
        yield InfoMetricFamily("leerie_build", "The running version.", {"version": __version__})
        yield GaugeMetricFamily(
            "leerie_broker_connected", "1 while the link to the broker stands and has settled.", float(self.connected)
        )
