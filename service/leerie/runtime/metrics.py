"""What Prometheus sees. Counters come from notes; a room's gauges are made at the scrape from its last view.

The deciding thread puts immutable values in place and counts; everything else happens in the scraping thread.
"""

from collections.abc import Iterable, Iterator
from typing import get_args

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily
from prometheus_client.registry import Collector

from leerie import __version__, notes
from leerie.config.building import Building
from leerie.notes import Note
from leerie.views import RoomView

STATES = ("vacant", "arriving", "occupied", "grace", "hold")
KINDS = get_args(notes.Heard.__annotations__["kind"])
BUCKETS_S = (0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0)


class Metrics:
    """One registry. Counts from the deciding thread, is read from the scraping one."""

    def __init__(self, building: Building) -> None:
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
        self._rooms = Rooms()
        self.registry.register(self._rooms)
        self._begin_at_zero(building)

    def show(self, views: Iterable[RoomView]) -> None:
        """These rooms look like this now."""
        for view in views:
            self._rooms.views[view.room] = view

    def connected(self, yes: bool) -> None:
        self._rooms.connected = yes

    def count(self, told: Iterable[Note]) -> None:
        """Count what the notes tell."""
        for note in told:
            match note:
                case notes.Heard():
                    self._received.labels(note.kind).inc()
                case notes.Refused():
                    self._refused.labels(note.source, note.reason).inc()
                case notes.Commanded():
                    self._commands.labels(note.fixture, note.cause).inc()
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


class Rooms(Collector):
    """Gauges, worked out when somebody asks."""

    def __init__(self) -> None:
        self.views: dict[str, RoomView] = {}
        self.connected = False

    def collect(self) -> Iterator[InfoMetricFamily | GaugeMetricFamily]:
        yield InfoMetricFamily("leerie_build", "The running version.", {"version": __version__})
        yield GaugeMetricFamily(
            "leerie_broker_connected", "1 while the link to the broker stands and has settled.", float(self.connected)
        )
        # A copy in one go: the deciding thread may put a room's next view in place meanwhile.
        views = dict(self.views)
        state = GaugeMetricFamily("leerie_room_state", "1 for the state the room is in.", labels=("room", "state"))
        faults = GaugeMetricFamily("leerie_room_faults", "Faults that stand in the room.", labels=("room",))
        held = GaugeMetricFamily("leerie_hold_active", "1 while the room is held.", labels=("room",))
        for room, view in views.items():
            for name in STATES:
                state.add_metric((room, name), float(view.state == name))
            faults.add_metric((room,), len(view.faults))
            held.add_metric((room,), float(view.hold is not None))
        yield from (state, faults, held)
