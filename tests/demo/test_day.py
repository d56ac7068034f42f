"""The demo's day, played through the real controller in virtual time: all that leerie does happens in it, and rightly.

Lamps that know nothing of leerie hear every command, so that what is asserted is what shines, not what was meant.
"""

import math
from collections import Counter
from datetime import date, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from leerie.cli.demo import FIRST_DAY, FIRST_SECOND, SEED
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.daylight import civil
from leerie.messages import Message, Outcome
from leerie.notes import FalseOff, Faulted, Heard, HoldEnded, Moved, Note, NotHeld, Refused
from leerie.now import MINUTE_MS, Now
from leerie.rehearsal.lamps import Glow, Lamp
from leerie.rehearsal.people import SECOND_US, Stay
from leerie.rehearsal.world import DAY_US, HOUR_US, World
from leerie.views import LampView, RoomView

START_MS = 5_000_000
COARSEST = 0.02
"""Level is perceived brightness; a lamp told whole percents of device level can be off by so much."""
MIRED = 1.0
"""A white told in whole mireds, or rounded to whole kelvins."""


class Played:
    """A stretch of the building's life: what leerie noted and showed, and how the lamps shone."""

    def __init__(self, building: Building, begins: int, lasts: int) -> None:
        """`begins`: µs UTC; `lasts`: µs."""
        self.building = building
        self.begins, self.ends = begins, begins + lasts
        self.world = World(building, SEED)
        self.lamps = {name: Lamp(fixture) for name, fixture in building.fixtures.items()}
        self._listens = {topic: name for name, lamp in self.lamps.items() for topic in lamp.topics}
        self.notes: list[tuple[int, Note]] = []
        """With the wall clock (µs UTC)."""
        self.views: list[tuple[int, RoomView]] = []
        self.shone: list[tuple[int, str, Glow]] = []
        """Each time a lamp was told something, how it shone from then on."""
        self.misunderstood: list[tuple[str, bytes]] = []
        self._now = Now(START_MS, begins)
        self._controller = Controller(building, {}, "one boot")
        self._play()

    def _play(self) -> None:
        self._controller.linked(self._now)
        for reading in self.world.standing(self.begins):
            self._take(self._controller.receive(Message(reading.topic, reading.payload, retained=True), self._now))
        self._take(self._controller.settled(self._now))
        for reading in self.world.readings(self.begins, self.ends):
            self._pass_until(reading.at)
            self._take(self._controller.receive(Message(reading.topic, reading.payload), self._now))
        self._pass_until(self.ends)

    def _pass_until(self, wall: int) -> None:
        end = START_MS + (wall - self.begins) // 1_000
        while (due := self._controller.due()) is not None and due <= end:
            self._now = self._now.at(max(due, self._now.steady))
            self._take(self._controller.advance(self._now))
        self._now = self._now.at(end)

    def _take(self, outcome: Outcome) -> None:
        at = self._now.wall
        self.notes += [(at, note) for note in outcome.notes]
        self.views += [(at, view) for view in outcome.rooms]
        for publish in outcome.commands:
            name = self._listens[publish.topic]
            if not self.lamps[name].hear(publish.topic, publish.payload):
                self.misunderstood.append((publish.topic, publish.payload))
            self.shone.append((at, name, self.lamps[name].glow()))
            self._controller.acknowledged(publish.ticket, True, self._now)

    # ---- what is seen ------------------------------------------------------------------------------------------------

    def of(self, kind: type[Note]) -> list[tuple[int, Note]]:
        return [(at, note) for at, note in self.notes if isinstance(note, kind)]

    def last(self, room: str, at: int | None = None) -> RoomView:
        """How that room showed itself last, or last before an instant."""
        return next(view for then, view in reversed(self.views) if view.room == room and (at is None or then <= at))

    def stays(self, room: str) -> list[Stay]:
        return [stay for stay in self.world.stays(self.begins, self.ends) if stay.room == room]


def _midnight(building: Building, day: date, second: int) -> int:
    return civil.moment(ZoneInfo(building.site.timezone), day, second)


@pytest.fixture(scope="module")
def workday(example: Building) -> Played:
    """The one that everybody sees first."""
    return Played(example, _midnight(example, FIRST_DAY, FIRST_SECOND), DAY_US)


@pytest.fixture(scope="module")
def saturday(example: Building) -> Played:
    day = FIRST_DAY + timedelta(days=5)
    assert day.weekday() == 5
    return Played(example, _midnight(example, day, FIRST_SECOND), DAY_US)


@pytest.fixture(params=["workday", "saturday"])
def day(request: pytest.FixtureRequest) -> Played:
    played: Played = request.getfixturevalue(request.param)
    return played


# ---- everything happens ----------------------------------------------------------------------------------------------


def test_every_state_is_there(workday: Played) -> None:
    shown = {view.state for _, view in workday.views}
    assert shown == {"vacant", "arriving", "occupied", "grace", "hold"}
    graces = {note.before for _, note in workday.of(Moved) if isinstance(note, Moved)}
    assert {"passing", "grace"} <= graces


def test_every_kind_of_hold_is_there(workday: Played) -> None:
    """By whom it is begun, what it does to the lamps, how long it is to last, and how it ends."""
    holds = [view.hold for _, view in workday.views if view.hold is not None]
    assert {hold.by for hold in holds} == {"button", "topic"}
    lights = {(hold.level is not None, hold.kelvin is not None) for hold in holds}
    assert lights == {(False, False), (True, False), (True, True)}
    assert {"time" if isinstance(hold.ends, int) else hold.ends for hold in holds} == {
        "time",
        "vacant",
        "day_part",
        "ever",
    }
    ended = {note.why for _, note in workday.of(HoldEnded) if isinstance(note, HoldEnded)}
    assert ended == {"end", "time", "vacant", "day_part", "ask"}


def test_people_ask_and_adjust(workday: Played) -> None:
    heard = {(note.kind, note.value) for _, note in workday.of(Heard) if isinstance(note, Heard)}
    assert {("button", "ask light"), ("button", "ask dark"), ("button", "raise"), ("button", "hold toggle")} <= heard
    assert {kind for kind, _ in heard} >= {"presence", "motion", "door", "button", "online", "battery", "cloud"}
    assert {kind for kind, _ in heard} >= {"hold", "bias"}
    assert any(view.asked == "light" for _, view in workday.views)
    assert any(view.asked == "dark" for _, view in workday.views)
    assert any(view.bias > 0 for _, view in workday.views)
    assert any(view.bias < 0 for _, view in workday.views)


def test_every_lamp_is_lit_and_dark(workday: Played) -> None:
    """All but those on the stairs, which are never dark; among them each kind of lamp."""
    lit = {name for _, name, glow in workday.shone if glow.light > 0}
    dark = {name for _, name, glow in workday.shone if glow.light == 0}
    assert lit == set(workday.building.fixtures)
    assert dark == set(workday.building.fixtures) - {"stair_low", "stair_high"}
    kinds = {workday.building.fixtures[name].kind for name in lit}
    assert kinds == {"switched", "dimmable", "tunable", "colour"}


def test_whites_and_colours_are_there(workday: Played) -> None:
    whites = {glow.kelvin for _, name, glow in workday.shone if name == "bench" and glow.light > 0}
    assert min(whites) < 2500
    assert max(whites) >= 4000
    assert len({glow.rgb for _, name, glow in workday.shone if name == "bedside_lamp" and glow.light > 0}) > 1


def test_somebody_who_sits_still_is_left_in_the_dark_and_it_comes_back(workday: Played) -> None:
    """A false-off at a desk: the sensors honestly missed somebody who was there all the time."""
    offs = [(at, note.room) for at, note in workday.of(FalseOff) if isinstance(note, FalseOff)]
    desks = [(at, room) for at, room in offs if room in ("shop", "workshop") and workday.last(room, at).hold is None]
    assert desks
    for at, room in desks:
        before = at - MINUTE_MS * 1_000
        assert any(stay.start < before and at <= stay.end for stay in workday.stays(room))
        assert workday.last(room, at).state == "occupied"
        assert workday.last(room, at - SECOND_US).state == "vacant"
        relit = {name for then, name, glow in workday.shone if at <= then < at + SECOND_US and glow.light > 0}
        dark = {name: glow.light == 0 for then, name, glow in workday.shone if then < at}
        assert any(dark[name] for name in relit & set(workday.building.rooms[room].fixtures))


def test_the_light_seldom_fails_anybody(day: Played) -> None:
    """Sensors that miss still people, and yet a house to live in: at most four times a day."""
    offs = Counter(note.room for _, note in day.of(FalseOff) if isinstance(note, FalseOff))
    assert offs.total() <= 4


# ---- and rightly -----------------------------------------------------------------------------------------------------


def test_every_lamp_understands_every_word(day: Played) -> None:
    assert day.misunderstood == []
    assert all(lamp.heard for lamp in day.lamps.values())


def test_leerie_understands_every_word(day: Played) -> None:
    """Of sensors, buttons, telephones; and nothing is at fault in a house where nothing is broken."""
    assert day.of(Refused) == []
    assert day.of(Faulted) == []
    assert day.of(NotHeld) == []


def test_in_the_end_every_lamp_shines_as_its_room_says(day: Played) -> None:
    for room in day.building.rooms:
        shown = day.last(room).fixtures
        assert shown is not None
        for name, view in shown:
            assert view is not None
            _shines_as_told(day, name, view)


def _shines_as_told(played: Played, name: str, view: LampView) -> None:
    fixture, glow = played.building.fixtures[name], played.lamps[name].glow()
    assert (glow.light > 0) is view.on
    if view.on and fixture.kind != "switched":
        assert math.sqrt(glow.light) == pytest.approx(view.level, abs=COARSEST)
    if view.on and view.kelvin is not None and glow.kelvin is not None:
        assert 1e6 / glow.kelvin == pytest.approx(1e6 / view.kelvin, abs=MIRED)


def test_the_stairs_are_never_dark(day: Played) -> None:
    lights = [glow.light for _, name, glow in day.shone if name in ("stair_low", "stair_high")]
    assert len(lights) > 10
    assert min(lights) > 0


def test_people_sleep_in_the_dark(day: Played) -> None:
    """At night the bedroom's lamps shine only when somebody asked for it, and not for long."""
    night = range(_hour(day, 23.5), _hour(day, 30))
    lamps = day.building.rooms["bedroom"].fixtures
    asleep = [stay for stay in day.stays("bedroom") if stay.start < night.stop and stay.end > night.start]
    assert {stay.person for stay in asleep} == {"maker", "partner"}
    lit: dict[str, int] = {}
    seconds = 0
    for at, name, glow in day.shone:
        if name not in lamps or at >= night.stop:
            continue
        since = lit.pop(name, None)
        if since is not None and at > night.start:
            seconds += (at - max(since, night.start)) // SECOND_US
        if glow.light > 0:
            lit[name] = at
            if at in night:
                assert day.last("bedroom", at).asked == "light"
    assert lit == {}
    assert 0 < seconds < 30 * 60


def test_a_bath_is_lit_to_its_end(day: Played) -> None:
    """Somebody lies still for longer than grace behind the shut door."""
    grace_us = day.building.rooms["bathroom"].rules.grace_ms * 1_000
    pulses = [r.at for r in day.world.readings(day.begins, day.ends) if r.topic == "flat/bath/pir"]
    [bath] = [stay for stay in day.stays("bathroom") if stay.stirs > 400]
    stills = [
        (before, after)
        for before, after in pairwise(pulses)
        if bath.start <= before and after <= bath.end and after - before > grace_us
    ]
    assert stills
    states = {view.state for at, view in day.views if view.room == "bathroom" and bath.start < at < bath.end}
    assert states <= {"arriving", "occupied", "grace"}
    for _, after in stills:
        assert day.last("bathroom", after - SECOND_US).state == "occupied"
    emptied = next(at for at, view in day.views if view.room == "bathroom" and at > bath.end and view.state == "vacant")
    assert emptied < bath.end + HOUR_US


def _hour(played: Played, hours: float) -> int:
    """So many hours after the midnight at which the day began."""
    return played.begins + round((hours * 3600 - FIRST_SECOND) * SECOND_US)


# ---- days differ -----------------------------------------------------------------------------------------------------


def test_a_workday_is_no_saturday(workday: Played, saturday: Played) -> None:
    def rooms(played: Played, person: str) -> set[str]:
        stays = played.world.stays(played.begins, played.ends)
        return {stay.room for stay in stays if stay.person == person}

    assert {"workshop", "shop", "stairs"} <= rooms(workday, "apprentice")
    assert rooms(workday, "customer") == {"shop"}
    assert rooms(saturday, "apprentice") == rooms(saturday, "customer") == set()
    assert len(saturday.of(Moved)) < len(workday.of(Moved))


def test_the_same_day_comes_out_the_same(example: Building, workday: Played) -> None:
    again = Played(example, workday.begins, 4 * HOUR_US)
    assert again.shone == [told for told in workday.shone if told[0] <= again.ends][: len(again.shone)]
    assert again.notes == workday.notes[: len(again.notes)]
