"""What is legal but suspicious, as far as the config alone can tell; each with its reason."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from pathlib import Path as FilePath
from stat import S_IROTH
from zoneinfo import ZoneInfo

from leerie.config import building as compiled
from leerie.config import models, whites
from leerie.config.building import Building, Room, Rules
from leerie.config.compile import shortest_grace_ms
from leerie.config.devices import Fixture
from leerie.config.durations import parse, render
from leerie.config.models import Broker, Config, Site
from leerie.config.problems import Flaw, Path, hours
from leerie.config.scenes import Maintain, Scene
from leerie.now import MINUTE_MS

SHUT_OFF_MS = 20 * MINUTE_MS
"""ANSI/ASHRAE/IES 90.1-2022, 9.4.1.1(h), and California Title 24 part 6 (2022), 130.1(c): lamps are off within 20
minutes of everybody having left."""
EGRESS_MS = 15 * MINUTE_MS
"""NFPA 101 (2012), 7.8.1.2.2: the timers of sensor-switched light on escape routes are set to 15 minutes or more."""
FURTHEST_FROM_SUN = timedelta(hours=4)
"""Common practice, no source: no zone in use is so far from the sun, but for a sign lost from the longitude."""


def suspicions(config: Config, building: Building, folder: FilePath, year: int) -> Iterator[Flaw]:
    """`folder`: where the config stands; `year`: the one whose clock is looked at."""
    yield from _site(config.site, year)
    yield from _broker(config.broker, folder)
    yield from _unused(building)
    yield from whites.suspicions(building)
    for name, lamp in config.fixtures.items():
        yield from _lamp(("fixtures", name), lamp, building.fixtures[name])
    for name, room in building.rooms.items():
        yield from _room(("rooms", name), room, config, building)


def _site(site: Site, year: int) -> Iterator[Flaw]:
    zone = ZoneInfo(site.timezone)
    sun = timedelta(hours=site.longitude / 15)
    half_day = timedelta(hours=12)
    apart = min(abs((_offset(zone, year, month) - sun + half_day) % (2 * half_day) - half_day) for month in (1, 7))
    if apart > FURTHEST_FROM_SUN:
        away = hours(apart / timedelta(minutes=1))
        problem = f"the clock of {site.timezone} is {away} away from the sun at this longitude"
        yield Flaw(("site", "longitude"), problem, "east is positive, west negative")


def _offset(zone: ZoneInfo, year: int, month: int) -> timedelta:
    return datetime(year, month, 1, tzinfo=zone).utcoffset() or timedelta()


def _broker(broker: Broker, folder: FilePath) -> Iterator[Flaw]:
    if broker.port == 8883 and broker.tls is None:
        yield Flaw(("broker", "port"), "is the port for TLS, and there is no tls", "tls = {}, or port 1883")
    if broker.password_file is not None and (folder / broker.password_file).stat().st_mode & S_IROTH:
        yield Flaw(("broker", "password_file"), "can be read by every user of this machine", "chmod o-r")


def _unused(building: Building) -> Iterator[Flaw]:
    rooms = building.rooms.values()
    for name in building.sensors:
        if not any(name in room.sensors for room in rooms):
            yield Flaw(("sensors", name), "is in no room", "what it says changes nothing")
    for name in building.parts:
        if name != building.site.bed and not any(name in room.parts for room in rooms):
            yield Flaw(("day_parts", name), "is named by no room", "its start changes nothing")


def _lamp(path: Path, lamp: Fixture, compiled_lamp: compiled.Fixture) -> Iterator[Flaw]:
    wires = (*compiled_lamp.messages, *(compiled_lamp.when_off or ()))
    given = lamp.model_fields_set
    if "fade" in given and not any("fade" in wire.payload.names for wire in wires):
        yield Flaw((*path, "fade"), "serves no $fade", "the lamp fades as it will, or not at all")
    if lamp.kind in ("tunable", "colour") and lamp.kelvin is None:
        yield Flaw((*path, "kelvin"), "is left at its default", "the white that the lamp really has")
    if lamp.kind != "switched" and "curve" not in given and lamp.response is None:
        yield Flaw((*path, "curve"), "is left at its default", "how the lamp really dims")


# ---- rooms -----------------------------------------------------------------------------------------------------------


def _room(path: Path, room: Room, config: Config, building: Building) -> Iterator[Flaw]:
    if room.rules.keep and not room.rules.sensors:
        yield Flaw((*path, "keep"), "only keeps light", "a sensor in sensors brings it")
    if room.meter is not None and not any(_maintains(scene) for scene in _all_scenes(room)):
        yield Flaw((*path, "meter"), "serves no lux", "a scene that asks for lux, or no meter")
    yield from _unreckoned(room, building)
    given = config.rooms[room.name]
    graces = ("grace",) if room.egress else ("grace", "pass_through")
    if room.egress:
        yield from _overruled(path, given)
    base = {key: getattr(given, key) for key in graces}
    yield from _times(path, room.rules, room, building)
    yield from _rests(path, base, room.rules, config)
    for part, rules in room.during.items():
        changed = {key: value for key, value in given.during[part] if value is not None}
        place = (*path, "during", part)
        if {"grace", "sensors", "keep"} & set(changed):
            yield from _times(place, rules, room, building)
        if {*graces, "sensors", "keep"} & set(changed):
            yield from _rests(place, {key: changed.get(key, base[key]) for key in graces}, rules, config)


def _overruled(path: Path, given: models.Room) -> Iterator[Flaw]:
    """An escape route keeps its light for the whole grace, and is not dimmed as a warning before it ends."""
    during = (((*path, "during", part), change) for part, change in given.during.items())
    keyed: Iterable[tuple[Path, models.Room | models.During]] = ((path, given), *during)
    for place, keys in keyed:
        if keys.pass_through is not None and "pass_through" in keys.model_fields_set:
            yield Flaw((*place, "pass_through"), "is overruled on an escape route", "the grace counts instead")
        if keys.warn and "warn" in keys.model_fields_set:
            yield Flaw((*place, "warn"), "is overruled on an escape route", "false, as it is there anyhow")


def _unreckoned(room: Room, building: Building) -> Iterator[Flaw]:
    """Lamps whose light nobody can reckon with, in a room whose other lamps go by what they all bring."""
    if any(_maintains(scene) for scene in _all_scenes(room)):
        for lamp in room.fixtures:
            if building.fixtures[lamp].lumens is None:
                problem = f"has no lumens: lux in {room.name} takes its light for none"
                yield Flaw(("fixtures", lamp), problem, "the lumens on its box")


def _all_scenes(room: Room) -> Iterator[Scene]:
    yield from room.scenes.values()
    yield from (rules.vacant for rules in (room.rules, *room.during.values()))
    yield room.asked or {}


def _maintains(scene: Scene) -> bool:
    return any(isinstance(value, Maintain) for value in scene.values())


def _times(path: Path, rules: Rules, room: Room, building: Building) -> Iterator[Flaw]:
    clears = max((building.sensors[name].clears_ms or 0 for name in (*rules.sensors, *rules.keep)), default=0)
    lit = rules.grace_ms + clears
    if lit > SHUT_OFF_MS:
        problem = f"light stays for {render(lit)} after everybody has left"
        allowed = "20m with the sensors' own clears: ceiling of ANSI/ASHRAE/IES 90.1 and Title 24"
        yield Flaw((*path, "grace"), problem, allowed)
    if room.egress and rules.grace_ms < EGRESS_MS:
        problem = f"{render(rules.grace_ms)} is short for an escape route"
        yield Flaw((*path, "grace"), problem, "15m: floor of NFPA 101 for sensor-switched light")


def _rests(path: Path, asked: dict[str, str], rules: Rules, config: Config) -> Iterator[Flaw]:
    sensors = {name: config.sensors[name] for name in (*rules.sensors, *rules.keep)}
    shortest = shortest_grace_ms(sensors.values())
    slowest = [name for name, sensor in sensors.items() if sensor.rests and shortest_grace_ms([sensor]) == shortest]
    for key, text in asked.items():
        if slowest and parse(text) < shortest:
            problem = f"{text} becomes {render(shortest)}, for {slowest[0]} cannot speak again sooner"
            allowed = f"at least {render(shortest)}: clears + rests of {slowest[0]} + 5 s"
            yield Flaw((*path, key), problem, allowed)
