"""What Prometheus sees. Events are counted from notes; everything else is made at the scrape.

The deciding thread puts immutable values in place and counts; all other work is the scraping thread's.
"""

from collections.abc import Callable, Iterable, Iterator
from math import nan
from typing import get_args

from prometheus_client import CollectorRegistry, Counter, Histogram, ProcessCollector, disable_created_metrics
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector

from leerie import __version__, notes
from leerie.config.building import Building
from leerie.notes import Moved, Note
from leerie.now import Now
from leerie.occupancy.table import OCCUPANCY, State
from leerie.pages.seen import Seen
from leerie.runtime.clock import Clock
from leerie.runtime.scraped import House, Lamps, Outdoors, Part, Parts, Rooms, Sensors
from leerie.views import RoomView, SkyView

KINDS = get_args(notes.Heard.__annotations__["kind"])
REASONS = tuple(reason for reason in get_args(notes.RefusalReason) if reason != "unknown_topic")
CAUSES = get_args(notes.Cause)
MOVES = tuple(
    dict.fromkeys(
        (before.shown, after.shown)
        for before, row in OCCUPANCY.items()
        for after in row.values()
        if before.shown != after.shown
    )
)
"""From one state to another, as far as the table goes."""
BUCKETS_S = (0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0)

# They are a timestamp beside each counter, which nobody has asked for.
disable_created_metrics()  # type: ignore[no-untyped-call] # the library does not annotate it


class Metrics:
    """One registry. Counts from the deciding thread, is read from the scraping one."""

    def __init__(self, building: Building, now: Callable[[], Now] | None = None) -> None:
        """`now`: the daemon's clock, from any thread; None: this machine's."""
        self._now = now = now or Clock().now
        self.registry = CollectorRegistry()
        self.reconnects = self._counter("leerie_broker_reconnects_total", "Connections to the broker after the first.")
        self.decision = Histogram(
            "leerie_decision_seconds",
            "From a message's coming in to its last command's handing over to the broker client.",
            buckets=BUCKETS_S,
            registry=self.registry,
        )
        self._received = self._counter("leerie_messages_received_total", "Messages taken, by what they tell.", "kind")
        self._refused = self._counter(
            "leerie_messages_refused_total",
            "Messages refused whole, by the sensor, room or feed they were for; unknown: a topic nobody reads.",
            "source",
            "reason",
        )
        self._commands = self._counter(
            "leerie_commands_sent_total", "Commands to lamps, by why they went out.", "fixture", "cause"
        )
        self._coalesced = self._counter(
            "leerie_commands_coalesced_total", "Commands that a newer one replaced before they went out.", "fixture"
        )
        self._undelivered = self._counter(
            "leerie_commands_undelivered_total", "Commands that the broker did not take.", "fixture"
        )
        self._transitions = self._counter(
            "leerie_room_transitions_total",
            "Moves of a room's occupancy from one state to another, under a hold too.",
            "room",
            "before",
            "after",
        )
        self._false_offs = self._counter(
            "leerie_room_false_offs_total",
            "Presence within 60 s of going dark by itself, by the state before the grace that ran out.",
            "room",
            "after",
        )
        self._link = Link(now)
        self._house = House(building)
        self._rooms = Rooms(self._house, now)
        self._lamps = Lamps(self._house, self._rooms, now)
        self._sensors = Sensors(self._house, self._rooms, now)
        self._outdoors = Outdoors(self._house)
        self._parts = Parts()
        for collector in (self._link, self._rooms, self._lamps, self._sensors, self._outdoors, self._parts):
            self.registry.register(collector)
        ProcessCollector(registry=self.registry)
        self._begin_at_zero(building)

    def follow(self, building: Building) -> None:
        """Another config holds. What is no more in it is not shown any more; counts go on."""
        self._house.building = building
        self._rooms.follow()
        self._lamps.follow()
        self._begin_at_zero(building)

    def reloaded(self, *, ok: bool) -> None:
        """The config was read anew."""
        self._link.reloaded, wall = ok, self._now().wall
        self._link.read, self._link.refused = (wall, None) if ok else (self._link.read, wall)

    def watch(self, part: Part, works: Callable[[], bool | None]) -> None:
        """Asked at each scrape, from its thread; None: the config does not want this part."""
        self._parts.asked[part] = works

    def clock_known(self, yes: bool) -> None:
        self._link.clock_known = yes

    def show(self, views: Iterable[RoomView], sky: SkyView | None = None) -> None:
        """These rooms, and the sky, look like this now."""
        for view in views:
            self._rooms.show(view)
            self._lamps.remembered(view)
        if sky is not None:
            self._outdoors.sky = sky

    def connected(self, yes: bool) -> None:
        if self._link.connected != yes:
            self._link.linked = self._now().wall
        self._link.connected = yes

    def seen(self, ailment: str | None) -> Seen:
        """All of it as it stands now, from any thread."""
        link = self._link
        return Seen(
            at=self._now().wall,
            building=self._house.building,
            rooms=dict(self._rooms.views),
            sky=self._outdoors.sky,
            connected=link.connected,
            linked=link.linked,
            clock_known=link.clock_known,
            begun=link.begun,
            read=link.read,
            refused=link.refused,
            unwritten=tuple(part for part in ("records", "journal") if self._parts.works(part) is False),
            ailment=ailment,
        )

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
                case notes.Undelivered():
                    self._undelivered.labels(note.fixture).inc()
                case notes.Moved():
                    self._moved(note)
                case notes.FalseOff():
                    self._false_offs.labels(note.room, note.after).inc()
                case _:
                    pass

    def _moved(self, note: Moved) -> None:
        """A warning, or a grace that begins anew, is no other state."""
        before, after = State(note.before).shown, State(note.after).shown
        if before != after:
            self._transitions.labels(note.room, before, after).inc()

    def _counter(self, name: str, text: str, *labels: str) -> Counter:
        return Counter(name, text, labels, registry=self.registry)

    def _begin_at_zero(self, building: Building) -> None:
        """A series that appears with its first event hides that event from rate().

        These are all there can ever be: each label is a key of the config or a word of ours, and nothing that a
        topic or a payload says becomes one.
        """
        for kind in KINDS:
            self._received.labels(kind)
        for source in _sources(building):
            for reason in REASONS:
                self._refused.labels(source, reason)
        self._refused.labels("unknown", "unknown_topic")
        for room in building.rooms.values():
            for before, after in MOVES:
                self._transitions.labels(room.name, before, after)
            for after in ("arriving", "occupied"):
                self._false_offs.labels(room.name, after)
            for fixture in room.fixtures:
                self._coalesced.labels(fixture)
                self._undelivered.labels(fixture)
                for cause in CAUSES:
                    if cause != "egress" or room.egress:
                        self._commands.labels(fixture, cause)


def _sources(building: Building) -> Iterator[str]:
    """Whose messages can be refused."""
    yield from building.sensors
    yield from (f"{room}/{wish}" for room in building.rooms for wish in ("hold", "ask", "bias"))
    if building.daylight.cloud is not None:
        yield "cloud"
    if building.daylight.outdoor is not None:
        yield "outdoor"
    if any(room.meter is not None for room in building.rooms.values()):
        yield "meter"


class Link(Collector):
    def __init__(self, now: Callable[[], Now]) -> None:
        """The daemon begins now."""
        self._now = now
        self.begun = self.linked = self.read = now().wall
        """Wall clock, µs UTC, as `refused`."""
        self.refused: int | None = None
        self.connected = False
        self.reloaded = True
        self.clock_known: bool | None = None

    def collect(self) -> Iterator[Metric]:
        yield InfoMetricFamily("leerie_build", "The running version.", {"version": __version__})
        yield GaugeMetricFamily(
            "leerie_broker_connected", "1 while the link to the broker stands and has settled.", float(self.connected)
        )
        yield GaugeMetricFamily(
            "leerie_config_reload_ok", "0 when the config was last read anew and refused, else 1.", float(self.reloaded)
        )
        yield GaugeMetricFamily(
            "leerie_clock_known",
            "1 while the wall clock is known to be right; else no day part holds. NaN: the records are not read yet.",
            nan if self.clock_known is None else float(self.clock_known),
        )
        yield GaugeMetricFamily(
            "leerie_clock_timestamp_seconds", "The wall clock at the scrape, Unix time.", self._now().wall / 1e6
        )
