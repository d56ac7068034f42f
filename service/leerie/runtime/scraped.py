"""What is worked out when somebody scrapes: from the last view of each room and of the sky, and from tallies.

The deciding thread only puts immutable values in place. A tally says what it was, how fast it grows and since when, so
that seconds and joules are right at every scrape and cost nothing between two.
"""

from collections.abc import Callable, Iterator
from math import nan
from threading import Lock
from typing import Literal, TypeAlias, get_args

import msgspec
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector

from leerie.config.building import Building
from leerie.fixtures import energy
from leerie.notes import Commanded, FaultCode, Heard
from leerie.now import SECOND_MS, Now
from leerie.views import RoomView, SkyView

Part: TypeAlias = Literal["deciding", "records", "journal"]
STATES = ("vacant", "arriving", "occupied", "grace", "hold")
SENSOR_KINDS = ("presence", "motion", "door", "button", "battery", "online")
"""What a sensor can be heard to say."""
LAMP = ("fixture",)


class Tally(msgspec.Struct, frozen=True):
    """A sum that grows evenly."""

    total: float
    rate: float
    """Per second."""
    since: int
    """Steady ms at which it was `total`."""

    def at(self, steady: int) -> float:
        return self.total + self.rate * (steady - self.since) / SECOND_MS


class Tallies:
    """Sums that grow evenly between two changes, as counters do: a scrape never sees less than the one before."""

    def __init__(self, now: Callable[[], Now]) -> None:
        self._now = now
        self._tallies: dict[tuple[str, ...], Tally] = {}
        # The clock must be read and the sum put in place in one go, or a scrape in between would look ahead.
        self._lock = Lock()

    def grow(self, rate: float, *key: str) -> None:
        """From now on by so much a second."""
        with self._lock:
            steady = self._now().steady
            before = self._tallies.get(key)
            self._tallies[key] = Tally(0.0 if before is None else before.at(steady), rate, steady)

    def read(self) -> dict[tuple[str, ...], float]:
        with self._lock:
            steady, tallies = self._now().steady, dict(self._tallies)
        return {key: tally.at(steady) for key, tally in tallies.items()}


class House:
    """The building that is shown; a reload puts another in its place."""

    def __init__(self, building: Building) -> None:
        self.building = building


def _or_nan(value: float | None) -> float:
    return nan if value is None else value


class Rooms(Collector):
    def __init__(self, house: House, now: Callable[[], Now]) -> None:
        self._house = house
        self.views: dict[str, RoomView] = {}
        self._seconds = Tallies(now)

    def show(self, view: RoomView) -> None:
        """A room looks like this from now on."""
        before = self.views.get(view.room)
        self.views[view.room] = view
        if before is None or before.state != view.state:
            if before is not None:
                self._seconds.grow(0.0, view.room, before.state)
            self._seconds.grow(1.0, view.room, view.state)

    def follow(self) -> None:
        """Another config holds: a room that is gone is in no state, and its sensors are not present there."""
        for room in [room for room in self.views if room not in self._house.building.rooms]:
            self._seconds.grow(0.0, room, self.views.pop(room).state)

    def collect(self) -> Iterator[Metric]:
        # A copy in one go: the deciding thread may put a room's next view in place meanwhile.
        views, spent = dict(self.views), self._seconds.read()
        labels = ("room", "state")
        state = GaugeMetricFamily(
            "leerie_room_state",
            "1 for the state the room is in; before the first decision it is in none.",
            labels=labels,
        )
        seconds = CounterMetricFamily(
            "leerie_room_state_seconds_total", "Time spent in each state, since the start.", labels=labels
        )
        faults = GaugeMetricFamily("leerie_room_faults", "Faults that stand in the room now.", labels=("room",))
        amiss = GaugeMetricFamily(
            "leerie_fault_active", "1 while such a fault stands in the room.", labels=("room", "code")
        )
        held = GaugeMetricFamily("leerie_hold_active", "1 while somebody holds the room.", labels=("room",))
        for room in self._house.building.rooms:
            view = views.get(room)
            for name in STATES:
                state.add_metric((room, name), float(view is not None and view.state == name))
                seconds.add_metric((room, name), spent.get((room, name), 0.0))
            found = () if view is None else view.faults
            faults.add_metric((room,), len(found))
            for code in get_args(FaultCode):
                amiss.add_metric((room, code), float(any(fault.code == code for fault in found)))
            held.add_metric((room,), float(view is not None and view.hold is not None))
        yield from (state, seconds, faults, amiss, held)
        yield from self._belongings()

    def _belongings(self) -> Iterator[Metric]:
        """So that what is known of a sensor or a lamp can be joined with its rooms."""
        sensors = InfoMetricFamily("leerie_room_sensor", "This sensor is one of the room's.", labels=("room", "sensor"))
        lamps = InfoMetricFamily("leerie_room_fixture", "This lamp is one of the room's.", labels=("room", "fixture"))
        for room in self._house.building.rooms.values():
            for sensor in room.sensors:
                sensors.add_metric((room.name, sensor), {})
            for fixture in room.fixtures:
                lamps.add_metric((room.name, fixture), {})
        yield from (sensors, lamps)


class Lamps(Collector):
    """Lamps as they were told, which is all that is known of them; an estimate, therefore."""

    def __init__(self, house: House, rooms: Rooms, now: Callable[[], Now]) -> None:
        self._house = house
        self._rooms = rooms
        self._told: dict[str, tuple[float, int | None]] = {}
        """Level and white."""
        self._lit = Tallies(now)
        self._joules = Tallies(now)

    def commanded(self, note: Commanded) -> None:
        self._tell(note.fixture, note.level, note.kelvin)

    def remembered(self, view: RoomView) -> None:
        """After a restart: what the lamps were told before it."""
        for name, lamp in view.told:
            if lamp is not None and name not in self._told:
                self._tell(name, lamp.level, lamp.kelvin)

    def _tell(self, name: str, level: float, kelvin: int | None) -> None:
        self._told[name] = level, kelvin
        self._lit.grow(1.0 if level > 0 else 0.0, name)
        watts = energy.power(self._house.building.fixtures[name], level)
        if watts is not None:
            self._joules.grow(watts, name)

    def follow(self) -> None:
        """Another config holds: how a lamp shines that no room commands any more, nobody knows."""
        commanded = [lamp for room in self._house.building.rooms.values() for lamp in room.fixtures]
        for name in [name for name in self._told if name not in commanded]:
            del self._told[name]
            self._lit.grow(0.0, name)
            self._joules.grow(0.0, name)

    def collect(self) -> Iterator[Metric]:
        told, burnt, drawn = dict(self._told), self._lit.read(), self._joules.read()
        level = GaugeMetricFamily(
            "leerie_fixture_level_ratio",
            "Perceived brightness as the lamp was last told, 0 to 1; NaN: not known, as in a hands-off hold.",
            labels=LAMP,
        )
        white = GaugeMetricFamily(
            "leerie_fixture_colour_temperature_kelvin",
            "White as the lamp was last told; NaN: not known, as in a hands-off hold, or a colour.",
            labels=LAMP,
        )
        lit = CounterMetricFamily(
            "leerie_fixture_lit_seconds_total", "Time lit, by what the lamp was told, since the start.", labels=LAMP
        )
        joules = CounterMetricFamily(
            "leerie_fixture_energy_joules_total",
            "Energy drawn since the start, estimated from the lamp's watts, standby and level.",
            labels=LAMP,
        )
        fixtures, hands_off = self._house.building.fixtures, self._hands_off()
        for name, fixture in fixtures.items():
            known = (None, None) if name in hands_off else told.get(name, (None, None))
            level.add_metric((name,), _or_nan(known[0]))
            if fixture.kind in ("tunable", "colour"):
                white.add_metric((name,), _or_nan(known[1]))
            lit.add_metric((name,), burnt.get((name,), 0.0))
            if fixture.watts is not None:
                joules.add_metric((name,), drawn.get((name,), 0.0))
        yield from (level, white, lit, joules)

    def _hands_off(self) -> set[str]:
        """The lamps of rooms in a hands-off hold."""
        held = {name for name, view in dict(self._rooms.views).items() if view.hold and view.hold.level is None}
        return {lamp for room in self._house.building.rooms.values() if room.name in held for lamp in room.fixtures}


class Sensors(Collector):
    def __init__(self, house: House, rooms: Rooms, now: Callable[[], Now]) -> None:
        self._house = house
        self._rooms = rooms
        self._now = now
        self._seen: dict[str, float] = {}

    def heard(self, note: Heard) -> None:
        if note.kind in SENSOR_KINDS and note.value != "gone":
            self._seen[note.source] = self._now().wall / 1e6

    def collect(self) -> Iterator[Metric]:
        views, heard = dict(self._rooms.views), dict(self._seen)
        there = {name for view in views.values() for name in view.sensors_present}
        gone = {fault.what for view in views.values() for fault in view.faults if fault.code == "sensor_out"}
        labels = ("sensor",)
        present = GaugeMetricFamily(
            "leerie_sensor_present",
            "1 while it counts as present in a room, held over by clears or not; a door: while it stands open.",
            labels=labels,
        )
        out = GaugeMetricFamily("leerie_sensor_out", "1 while it is gone, or silent for too long.", labels=labels)
        # 0 would be a moment, and a sensor that has said nothing since a restart would seem dead since 1970.
        seen = GaugeMetricFamily(
            "leerie_sensor_last_seen_timestamp_seconds",
            "When it last said anything, Unix time; NaN: not since the start.",
            labels=labels,
        )
        for name, sensor in self._house.building.sensors.items():
            if sensor.kind != "button":
                present.add_metric((name,), float(name in there))
            out.add_metric((name,), float(name in gone))
            seen.add_metric((name,), heard.get(name, nan))
        yield from (present, out, seen)


class Parts(Collector):
    """What leerie itself is made of, as far as it can fail by itself."""

    def __init__(self) -> None:
        self.asked: dict[Part, Callable[[], bool | None]] = {}

    def works(self, part: Part) -> bool | None:
        """None: nobody has said, or the config does not want it."""
        return self.asked[part]() if part in self.asked else None

    def collect(self) -> Iterator[Metric]:
        working = GaugeMetricFamily(
            "leerie_working",
            "1 while this part of leerie does its work, 0 while it cannot; NaN: the config does not ask for it.",
            labels=("part",),
        )
        for part in get_args(Part):
            works = self.works(part)
            working.add_metric((part,), nan if works is None else float(works))
        yield working


class Outdoors(Collector):
    def __init__(self, house: House) -> None:
        self._house = house
        self.sky: SkyView | None = None

    def collect(self) -> Iterator[Metric]:
        sky = self.sky
        lux, sun, cloud = (nan, nan, None) if sky is None else (sky.outdoor, sky.elevation, sky.cloud)
        yield GaugeMetricFamily(
            "leerie_outdoor_illuminance_lux", "Of the sun and the sky on the horizontal; NaN: not worked out yet.", lux
        )
        yield GaugeMetricFamily(
            "leerie_sun_elevation_degrees",
            "Of the sun's centre above the horizon, without refraction; NaN: not worked out yet.",
            sun,
        )
        yield GaugeMetricFamily(
            "leerie_cloud_cover_ratio", "Share of the sky that is cloud, as last told; NaN: not known.", _or_nan(cloud)
        )
        part = GaugeMetricFamily(
            "leerie_day_part", "1 for the day part of the building that began last of all.", labels=("day_part",)
        )
        for name in self._house.building.parts:
            part.add_metric((name,), float(sky is not None and name == sky.part))
        yield part
