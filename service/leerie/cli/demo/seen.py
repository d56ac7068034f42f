"""What is to be seen at one moment, in words and light: rooms, lamps and sky, before it is drawn one way or another."""

from collections.abc import Mapping
from datetime import date, datetime
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from leerie import tint
from leerie.cli.demo import paint
from leerie.cli.demo.stage import Stage
from leerie.config.building import Fixture, Room, Site
from leerie.daylight import civil, sun
from leerie.tint import Rgb

NOT_HEARD = "not heard yet"
HANDS_OFF = "hands off"
ENDS = {"vacant": "vacant", "day_part": "next part", "ever": "ended"}
"""Of a hold that no clock ends."""
LEAST_LUX = 0.1
"""lx under which it is dark, and no number says more."""
NOTHING: Mapping[str, Any] = {}


class SeenLamp(NamedTuple):
    name: str
    """Without what only repeats its room's."""
    level: str
    """What leerie asked for last; in a hands-off hold what the lamp itself shows."""
    white: str
    lit: bool
    colour: Rgb


class SeenRoom(NamedTuple):
    name: str
    state: str
    """Empty: not heard yet."""
    hands_off: bool
    until: str
    """A time or an event; empty: without end."""
    people: int
    lamps: list[SeenLamp]
    wall: Rgb
    faults: list[str]
    reasons: list[str]

    @property
    def standing(self) -> str:
        """Its state in words, and how long it lasts."""
        state = HANDS_OFF if self.hands_off else self.state or NOT_HEARD
        return f"{state} → {self.until}" if self.until else state

    @property
    def first_reason(self) -> str:
        """The first reason to know, without the state, which stands beside it. Of a hold, who holds it."""
        held = [reason for reason in self.reasons if self.state == "hold" and reason.startswith("held ")]
        return next(iter([*held, *self.reasons]), "").removeprefix(f"{self.state}: ")

    @property
    def why(self) -> str:
        """The first thing to know of it: a fault before any reason."""
        return next(iter(self.faults), self.first_reason)


class SeenSky(NamedTuple):
    local: datetime
    day: tuple[float, ...]
    """The sun's elevation (degrees) through the local day, from midnight to midnight, in equal steps."""
    elevation: float
    """Degrees."""
    cloud: float
    """0…1"""
    facts: str

    @property
    def gone(self) -> float:
        """Share of the day that is over."""
        return (self.local.hour * 3600 + self.local.minute * 60 + self.local.second) / civil.DAY_S


class Seen(NamedTuple):
    rooms: dict[str, SeenRoom]
    chosen: str
    """The room that the keys act on."""
    sky: SeenSky


class Eyes:
    """Looks at a stage."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._zone = ZoneInfo(stage.building.site.timezone)

    def look(self, steps: int) -> Seen:
        """All that is there now; the day in so many steps."""
        sky, chosen = self._sky(steps), self._stage.chosen  # once: somebody at the keys may choose meanwhile
        daylight = tint.daylight(sky.elevation, sky.cloud)
        rooms = self._stage.building.rooms
        return Seen({name: self._room(room, daylight) for name, room in rooms.items()}, chosen, sky)

    # ---- the sky -----------------------------------------------------------------------------------------------------

    def _sky(self, steps: int) -> SeenSky:
        stage, told = self._stage, self._stage.sky
        wall, site = stage.wall(), stage.building.site
        local = civil.local(self._zone, wall)
        cloud = told.get("cloud")
        assumed = stage.building.daylight.assume_cloud if cloud is None else cloud
        return SeenSky(
            local=local,
            day=_day(site, self._zone, local.date(), steps),
            elevation=sun.position(site, wall).elevation,
            cloud=1.0 if stage.overcast else assumed,
            facts=_facts(told, overcast=stage.overcast),
        )

    # ---- rooms -------------------------------------------------------------------------------------------------------

    def _room(self, room: Room, daylight: float) -> SeenRoom:
        stage = self._stage
        state = stage.rooms.get(room.name, NOTHING)
        glows = [stage.glow(fixture) for fixture in room.fixtures]
        return SeenRoom(
            name=room.name,
            state=state.get("state", ""),
            hands_off=bool(state) and state["fixtures"] is None,
            until=self._until(state),
            people=stage.people_in(room.name),
            lamps=[self._lamp(room, stage.building.fixtures[fixture], state) for fixture in room.fixtures],
            wall=paint.wall(glows, daylight),
            faults=[fault["text"] for fault in state.get("faults", ())],
            reasons=list(state.get("because", ())),
        )

    def _until(self, state: Mapping[str, Any]) -> str:
        until, hold = state.get("until"), state.get("hold")
        if until is not None:
            return f"{datetime.fromisoformat(until).astimezone(self._zone):%H:%M}"
        return ENDS.get(hold["for"], "") if hold else ""

    def _lamp(self, room: Room, fixture: Fixture, state: Mapping[str, Any]) -> SeenLamp:
        glow = self._stage.glow(fixture.name)
        switched = fixture.kind == "switched"
        name = _short(fixture.name, room.name)
        if state and state["fixtures"] is None:
            white = f"{glow.kelvin} K" if glow.kelvin and glow.light and fixture.kelvin else ""
            shown = _level(paint.looks(glow.light), switched=switched)
            return SeenLamp(name, shown, white, glow.light > 0, paint.lamp(glow))
        told = state.get("fixtures", NOTHING).get(fixture.name)
        level = "–" if told is None else _level(told["level"] if told["on"] else 0.0, switched=switched)
        white = f"{told['kelvin']} K" if told and told["on"] and told["kelvin"] else ""
        return SeenLamp(name, level, white, glow.light > 0, paint.lamp(glow))


@lru_cache(maxsize=4)
def _day(site: Site, zone: ZoneInfo, day: date, steps: int) -> tuple[float, ...]:
    midnight, step_us = civil.moment(zone, day, 0), civil.DAY_S * civil.SECOND_US // steps
    return tuple(sun.position(site, midnight + step * step_us + step_us // 2).elevation for step in range(steps))


def _level(level: float, *, switched: bool) -> str:
    if level <= 0:
        return "off"
    return "on" if switched else f"{level:.2f}"


def _short(fixture: str, room: str) -> str:
    first, _, rest = fixture.partition("_")
    return rest if rest and room.startswith(first) else fixture


def _facts(sky: Mapping[str, Any], *, overcast: bool) -> str:
    """What leerie says of the sky, in one line."""
    facts = []
    if sky:
        facts = [f"day part {sky['day_part'] or '–'}", f"sun {sky['sun_elevation']:+.1f}°"]
        lux = sky["outdoor_lux"]
        facts.append(f"outdoors {lux:g} lx" if lux >= LEAST_LUX else "outdoors dark")
        facts += [] if sky["cloud"] is None else [f"cloud {sky['cloud']:.0%}"]
    return "   ".join([*facts, *(["clouded over"] if overcast else [])])
