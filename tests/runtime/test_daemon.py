"""The whole daemon at a real broker: what people do, and what the lamps are told.

Time runs twenty times as fast as the real one, so that forty seconds of grace take two.
"""

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from brokers import Kind, Mosquitto, Person, serving
from houses import House, workshop
from leerie.config.running import Broker

pytestmark = pytest.mark.broker

LAMP, SIGN, STAIR = "lamps/bench/do", "lamps/sign/do", "lamps/stair/do"
SCENE = {"lamp": True, "out": 163, "white": 4000}
"""Level 0.8 is 0.64 of the light (IES square law), and 0.64 · 255 = 163.2 on a lamp whose output is linear."""
WARNED = {"lamp": True, "out": 41, "white": 4000}
"""Half the level: 0.4² · 255 = 40.8."""
DARK = {"lamp": False, "out": 0, "white": 3000}
"""Off, in the white that the vacant scene leaves it: the site's."""
PEOPLE = "workshop/bench/radar"

JUST_BEFORE_MIDNIGHT = 1_768_262_380_000_000
"""2026-01-12 23:59:40 in London, µs UTC."""


class Room:
    """The workshop as somebody at the broker sees it."""

    def __init__(self, person: Person, house: House) -> None:
        self.person = person
        self.house = house
        self._mark = 0

    def now(self) -> None:
        """Forget what was heard: what is awaited comes after this."""
        self._mark = self.person.count

    def does(self, topic: str, payload: str, retain: bool = False) -> None:
        self.now()
        self.person.say(topic, payload, retain)

    def wish(self, kind: str, payload: Any) -> None:
        self.does(f"leerie/room/workshop/{kind}", payload if isinstance(payload, str) else json.dumps(payload))

    def state(self, name: str, wanted: Callable[[dict[str, Any]], bool] = lambda _: True) -> dict[str, Any]:
        """Wait for the room to be in that state, and as wanted."""
        heard = self.person.hears(
            "leerie/room/workshop/state",
            lambda heard: bool(heard.value["state"] == name and wanted(heard.value)),
            after=self._mark,
        )
        value: dict[str, Any] = heard.value
        return value

    def lamp(self, payload: dict[str, Any]) -> None:
        """Wait for the bench lamp to be told exactly that."""
        self.person.hears(LAMP, lambda heard: bool(heard.value == payload), after=self._mark)

    def sign(self, word: str) -> None:
        self.person.hears(SIGN, lambda heard: heard.payload == word.encode(), after=self._mark)

    def told(self) -> list[Any]:
        """All that the bench lamp has been told since the mark."""
        return [heard.value for heard in self.person.on(LAMP, self._mark)]


@pytest.fixture(scope="session")
def vacant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Records of a building in which nobody is, and nobody was for some time."""
    folder = tmp_path_factory.mktemp("vacant")
    name = "mosquitto" if shutil.which("mosquitto", path="/usr/sbin:/usr/bin") else "amqtt"
    with serving(Kind(name, "3.1.1"), folder) as broker, Person(broker.port, "leerie/room/+/state") as person:
        config = workshop(folder, broker.port, service=f'state_dir = "{folder}/state"')
        with House(config, speed=400):
            for room in ("workshop", "stair"):
                person.hears(f"leerie/room/{room}/state", lambda heard: bool(heard.value["state"] == "vacant"))
    return folder / "state"


@pytest.fixture
def room(kind: Kind, broker: Broker, tmp_path: Path, vacant: Path) -> Iterator[Room]:
    """The daemon, running and settled; nobody is there."""
    shutil.copytree(vacant, tmp_path / "state")
    config = workshop(tmp_path, broker.port, f'protocol = "{kind.protocol}"', f'state_dir = "{tmp_path}/state"')
    with Person(broker.port, "lamps/#", "leerie/#") as person, House(config) as house:
        room = Room(person, house)
        room.state("vacant")
        yield room


def test_someone_arrives_stays_and_leaves(room: Room) -> None:
    """Light at once, in full; a warning before the end; dark with what the vacant scene leaves on."""
    room.does(PEOPLE, "true")
    room.lamp(SCENE)
    room.sign("OPEN")
    room.state("arriving")
    room.state("occupied")
    room.does(PEOPLE, "false")
    grace = room.state("grace")
    assert grace["until"] is not None
    room.lamp(WARNED)
    room.lamp(DARK)
    room.sign("CLOSE")
    room.state("vacant")


def test_who_only_passes_through_leaves_it_dark_sooner_and_without_a_warning(room: Room) -> None:
    room.does(PEOPLE, "true")
    room.lamp(SCENE)
    room.does(PEOPLE, "false")
    room.state("grace")
    room.state("vacant")
    room.lamp(DARK)
    assert WARNED not in room.told()


def test_in_a_hands_off_hold_nothing_goes_to_its_lamps(room: Room) -> None:
    """Neither what people do nor time brings a command, until it ends; then the room's own state shows."""
    room.wish("hold", "start")
    assert room.state("hold")["fixtures"] is None
    room.does(PEOPLE, "true")
    room.state("hold", lambda state: bool(state["occupancy"] == "occupied"))
    room.does(PEOPLE, "false")
    room.state("hold", lambda state: bool(state["occupancy"] == "vacant"))
    assert room.told() == []
    room.does(PEOPLE, "true")
    room.wish("hold", "end")
    room.lamp(SCENE)
    assert room.state("arriving")["hold"] is None


def test_a_hold_with_a_level_ends_by_itself(room: Room) -> None:
    room.wish("hold", {"hold": True, "for": "20s", "level": 0.5, "kelvin": 2700})
    room.lamp({"lamp": True, "out": 64, "white": 2700})
    assert room.state("hold")["hold"]["level"] == 0.5
    room.lamp(DARK)
    room.state("vacant")


def test_a_hold_until_vacant_ends_when_the_last_has_left(room: Room) -> None:
    room.does(PEOPLE, "true")
    room.state("occupied")
    room.wish("hold", {"hold": True, "for": "vacant", "level": 0.5, "kelvin": 2700})
    room.lamp({"lamp": True, "out": 64, "white": 2700})
    assert room.state("hold")["until"] is None
    room.does(PEOPLE, "false")
    room.state("vacant", lambda state: state["hold"] is None)
    room.lamp(DARK)
    room.sign("CLOSE")


def test_a_hold_until_the_next_day_part_ends_when_it_begins(kind: Kind, broker: Broker, tmp_path: Path) -> None:
    """Here that is the room's only part, which begins anew at midnight."""
    config = workshop(tmp_path, broker.port, f'protocol = "{kind.protocol}"')
    with Person(broker.port, "lamps/#", "leerie/#") as person, House(config, start=JUST_BEFORE_MIDNIGHT) as house:
        room = Room(person, house)
        room.wish("hold", {"hold": True, "for": "day_part", "level": 0.5, "kelvin": 2700})
        room.lamp({"lamp": True, "out": 64, "white": 2700})
        assert room.state("hold")["until"] is None
        room.state("grace", lambda state: state["hold"] is None)
        room.lamp(SCENE)


def test_a_hold_for_ever_lasts_until_somebody_ends_it(room: Room) -> None:
    """Occupancy runs on beneath, and no lamp is told of it."""
    room.wish("hold", {"hold": True, "for": "ever"})
    room.state("hold")
    room.does(PEOPLE, "true")
    room.state("hold", lambda state: state["occupancy"] == "occupied")
    room.does(PEOPLE, "false")
    room.state("hold", lambda state: state["occupancy"] == "vacant")
    assert room.told() == []
    room.wish("hold", "end")
    room.state("vacant")
    room.lamp(DARK)


def test_a_button_toggles_a_hold_and_asks(room: Room) -> None:
    room.does("workshop/button", "long")
    assert room.state("hold")["hold"]["by"] == "button"
    room.does("workshop/button", "short")
    room.lamp(SCENE)
    asked = room.state("grace", lambda state: bool(state["asked"] == "light"))
    assert asked["hold"] is None


def test_a_bias_dims_and_its_end_brightens(room: Room) -> None:
    room.does(PEOPLE, "true")
    room.lamp(SCENE)
    room.wish("bias", -0.5)
    room.lamp(WARNED)
    room.wish("bias", 0)
    room.lamp(SCENE)


@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        (PEOPLE, "perhaps"),
        (PEOPLE, "\x00\x1b[2J\n"),
        (PEOPLE, "[" * 10_000),
        (PEOPLE, "9" * 300_000),
        (PEOPLE, ""),
        ("leerie/room/workshop/hold", "sideways"),
        ("leerie/room/workshop/hold", '{"hold": true, "colour": "blue"}'),
        ("leerie/room/workshop/hold", '{"hold": true, "for": "-1h"}'),
        ("leerie/room/workshop/hold", '{"hold": true, "kelvin": 3000}'),
        ("leerie/room/workshop/hold", '{"hold": true, "level": NaN}'),
        ("leerie/room/workshop/ask", "twilight"),
        ("leerie/room/workshop/bias", "Infinity"),
        ("leerie/room/workshop/bias", "1e400"),
    ],
)
def test_bad_input_is_refused_in_the_faults_and_changes_nothing(
    topic: str, payload: str, tmp_path: Path, vacant: Path
) -> None:
    with house_of_vacant_rooms(tmp_path, vacant) as room:
        room.state("vacant")
        room.does(topic, payload)
        assert room.house.log.until("refused")["level"] == "warning"
        room.does(PEOPLE, "true")
        room.lamp(SCENE)


def test_an_event_that_comes_retained_is_refused_and_named(tmp_path: Path, vacant: Path) -> None:
    """It would come again with every reconnect."""
    with house_of_vacant_rooms(tmp_path, vacant, kept=("leerie/room/workshop/hold", "start")) as room:
        faults = room.state("vacant", lambda state: bool(state["faults"]))["faults"]
        assert any("retain" in fault["text"] for fault in faults)
        room.does(PEOPLE, "true")
        room.lamp(SCENE)


def test_a_presence_that_was_kept_is_no_arrival(tmp_path: Path, vacant: Path) -> None:
    """Somebody is there, and has been for nobody knows how long."""
    with house_of_vacant_rooms(tmp_path, vacant, kept=(PEOPLE, "true")) as room:
        room.state("occupied")
        room.lamp(SCENE)
        assert not [
            heard for heard in room.person.on("leerie/room/workshop/state") if heard.value["state"] == "arriving"
        ]


def test_lamps_are_told_again_now_and_then_but_not_in_a_hold(tmp_path: Path, vacant: Path) -> None:
    with house_of_vacant_rooms(tmp_path, vacant, service='refresh = "20s"') as room:
        room.does(PEOPLE, "true")
        room.lamp(SCENE)
        room.state("occupied")
        room.now()
        room.lamp(SCENE)
        room.wish("hold", "start")
        room.state("hold")
        room.now()
        for _ in range(3):  # the stair is refreshed meanwhile
            mark = room.person.count
            room.person.hears(STAIR, after=mark)
        assert room.told() == []


def test_escape_routes_are_lit_at_a_clean_stop(tmp_path: Path, vacant: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/service") as person:
        shutil.copytree(vacant, tmp_path / "state")
        config = workshop(tmp_path, mosquitto.port, service=f'state_dir = "{tmp_path}/state"')
        with House(config):
            for lamp in (LAMP, SIGN, STAIR):  # told again after the connect
                person.hears(lamp)
            mark = person.count
        person.hears("leerie/service", lambda heard: heard.value == {"running": False}, after=mark)
        assert [heard.payload for heard in person.on(STAIR, mark)] == [b"100"]
        assert person.on(LAMP, mark) == []


def test_after_a_broker_restart_every_lamp_is_told_again_and_light_goes_on(tmp_path: Path, vacant: Path) -> None:
    """The broker keeps nothing across a restart: states and records are published again too."""
    shutil.copytree(vacant, tmp_path / "state")
    with Mosquitto(tmp_path) as mosquitto:
        config = workshop(tmp_path, mosquitto.port, service=f'state_dir = "{tmp_path}/state"')
        with House(config) as house:
            with Person(mosquitto.port, "lamps/#", "leerie/#") as person:
                room = Room(person, house)
                room.does(PEOPLE, "true")
                room.state("occupied")
            mosquitto.stop()
            house.log.until("connection lost")
            mosquitto.start()
            with Person(mosquitto.port, "lamps/#", "leerie/#") as person:
                room = Room(person, house)
                room.state("occupied")
                person.hears("leerie/memory/workshop")
                person.hears("leerie/service", lambda heard: bool(heard.value["running"]))
                room.lamp(SCENE)


@contextmanager
def house_of_vacant_rooms(
    folder: Path, vacant: Path, kept: tuple[str, str] | None = None, service: str = ""
) -> Iterator[Room]:
    """The daemon at a mosquitto of its own, which had `kept` (topic, payload) before."""
    shutil.copytree(vacant, folder / "state")
    with Mosquitto(folder) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/#") as person:
        if kept is not None:
            person.say(*kept, retain=True)
        config = workshop(folder, mosquitto.port, service=f'state_dir = "{folder}/state"\n{service}')
        with House(config) as house:
            yield Room(person, house)
