"""What the daemon makes of the controller's outcomes: lamps first, and nothing that the controller did not say."""

# ruff: noqa: ARG002 -- a stand-in has the real one's arguments, whether it needs them or not

import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

import pytest
from msgspec.structs import replace

from brokers import WITHIN_S, Kind, Mosquitto, Person
from houses import House, workshop
from leerie import record
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.messages import AT_ONCE, Message, Outcome, Publish
from leerie.notes import Commanded, Heard, Refused
from leerie.now import Now
from leerie.occupancy.records import Occupancy
from leerie.occupancy.table import State
from leerie.record import Record
from leerie.views import RoomView

pytestmark = pytest.mark.broker

VIEW = RoomView(
    room="workshop", state="occupied", occupancy="occupied", since=0, until=None, hold=None, asked=None, bias=0.0,
    part="always", outdoor=100.0, fixtures=(), because=(), faults=(), present=True,
)  # fmt: skip


def record_of(room: str) -> bytes:
    occupancy = Occupancy(state=State.VACANT, since=Now(0, 0), under=None)
    return record.encode(Record(room, 1, "boot", Now(0, 0), occupancy, {}))


class Fake(Controller):
    """Answers each message with one outcome of every kind, and keeps what it is told."""

    def __init__(self, building: Building, memory: Mapping[str, bytes], boot: str, *, clock_known: bool = True) -> None:
        self.memory_before = dict(memory)
        self.told: list[Any] = []
        self.wakes_at: int | None = None

    def filters(self) -> tuple[str, ...]:
        return ("workshop/bench/radar",)

    def linked(self, now: Now) -> None:
        self.told.append("linked")

    def settled(self, now: Now, at_once: int = AT_ONCE) -> Outcome:
        self.told.append("settled")
        return Outcome(records=("workshop",), rooms=(VIEW,))

    def lost(self, now: Now) -> None:
        self.told.append("lost")

    def receive(self, message: Message, now: Now) -> Outcome:
        self.told.append(message)
        if message.payload == b"soon":
            self.wakes_at = now.steady + 1_000
        return Outcome(
            commands=(Publish(1, "lamps/bench/do", b"on", 60), Publish(2, "lamps/sign/do", b"off", 60)),
            records=("workshop",),
            rooms=(VIEW,),
            notes=(
                Commanded("workshop", "bench", "occupancy", 1.0, None, 1),
                Refused("bench_radar", "unknown_word", 'found \n{"event": "forged"}'),
            ),
        )

    def advance(self, now: Now) -> Outcome:
        if self.wakes_at is None or now.steady < self.wakes_at:
            return Outcome()  # looked at once a second, in case the wall clock has stepped
        self.wakes_at = None
        return Outcome(commands=(Publish(3, "lamps/stair/do", b"late", 60),))

    def acknowledged(self, ticket: int, ok: bool, now: Now) -> None:
        self.told.append((ticket, ok))

    def due(self) -> int | None:
        return self.wakes_at

    def memory(self, room: str) -> bytes:
        return record_of(room)

    def farewell(self, now: Now) -> Outcome:
        self.told.append("farewell")
        return Outcome(commands=(Publish(4, "lamps/stair/do", b"goodbye", 60),))


@pytest.fixture
def house(kind: Kind, tmp_path: Path, broker: Any) -> Iterator[House]:
    config = workshop(
        tmp_path, broker.port, f'protocol = "{kind.protocol}"', f'state_dir = "{tmp_path}/state"\njournal.days = 0'
    )
    with House(config, make=Fake) as running:
        yield running


def controller(house: House) -> Fake:
    held = house.daemon._deciding.controller
    assert isinstance(held, Fake)
    return held


@pytest.mark.usefixtures("house")
def test_lamps_come_first_then_record_then_state(broker: Any) -> None:
    with Person(broker.port, "lamps/#", "leerie/memory/+", "leerie/room/+/state") as person:
        person.hears("leerie/room/workshop/state")
        before = person.count
        person.say("workshop/bench/radar", "true")
        person.hears("leerie/room/workshop/state", after=before)
        assert [heard.topic for heard in person.heard[before:]] == [
            "lamps/bench/do", "lamps/sign/do", "leerie/memory/workshop", "leerie/room/workshop/state",
        ]  # fmt: skip


def test_within_the_step_everything_has_its_place(tmp_path: Path) -> None:
    """Commands, the acknowledgement of what came in, the folder's record, what is retained, the log."""
    with Mosquitto(tmp_path) as mosquitto, House(workshop(tmp_path, mosquitto.port), make=Fake) as house:
        daemon, order = house.daemon, []

        def spied(name: str, act: Callable[..., Any]) -> Callable[..., Any]:
            def spy(*given: Any, **named: Any) -> Any:
                order.append(name)
                return act(*given, **named)

            return spy

        daemon._link.command = spied("command", daemon._link.command)  # type: ignore[method-assign] # a spy
        daemon._link.acknowledge = spied("acknowledge", daemon._link.acknowledge)  # type: ignore[method-assign] # a spy
        daemon._link.retain = spied("retain", daemon._link.retain)  # type: ignore[method-assign] # a spy
        daemon._keeper.keep = spied("folder", daemon._keeper.keep)  # type: ignore[method-assign] # a spy
        daemon._deciding._teller.tell = spied("log", daemon._deciding._teller.tell)  # type: ignore[method-assign] # a spy
        with Person(mosquitto.port, "leerie/room/+/state") as person:
            person.hears("leerie/room/workshop/state")
            before = person.count
            person.say("workshop/bench/radar", "true")
            person.hears("leerie/room/workshop/state", after=before)
            house.log.until("refused")
        step = order[order.index("command") : order.index("log", order.index("command")) + 1]
        assert step == ["command", "command", "acknowledge", "folder", "retain", "retain", "log"]


def test_the_controller_hears_of_link_and_tickets(house: House, broker: Any) -> None:
    with Person(broker.port, "lamps/#") as person:
        person.say("workshop/bench/radar", "soon", retain=True)
        person.hears("lamps/stair/do", lambda heard: heard.payload == b"late")
    told = controller(house).told
    assert told[:2] == ["linked", "settled"]
    assert Message("workshop/bench/radar", b"soon", False) in told
    assert (1, True) in told
    assert (2, True) in told


def test_what_was_kept_comes_between_linked_and_settled(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#") as person:
        person.say("workshop/bench/radar", "true", retain=True)
        with House(workshop(tmp_path, mosquitto.port), make=Fake) as house:
            assert controller(house).told == ["linked", Message("workshop/bench/radar", b"true", True), "settled"]
            assert person.on("lamps/bench/do") == [], "nothing is sent before it has settled"


def test_a_record_comes_back_from_the_folder_alone_and_from_the_broker_alone(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto:
        config = workshop(tmp_path, mosquitto.port, service=f'state_dir = "{tmp_path}/state"\njournal.days = 0')
        with Person(mosquitto.port, "leerie/memory/+", "leerie/service") as person, House(config, make=Fake) as house:
            assert controller(house).memory_before == {}
            assert person.hears("leerie/memory/workshop").payload == record_of("workshop")
        with House(workshop(tmp_path, mosquitto.port), make=Fake) as house:
            assert controller(house).memory_before == {"workshop": record_of("workshop")}, "the broker alone"
    with Mosquitto(tmp_path) as empty:
        config = workshop(tmp_path, empty.port, service=f'state_dir = "{tmp_path}/state"\njournal.days = 0')
        with House(config, make=Fake) as house:
            assert controller(house).memory_before == {"workshop": record_of("workshop")}, "the folder alone"


def test_records_of_rooms_that_are_none_of_ours_are_left_alone(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "nothing") as person:
        person.say("leerie/memory/elsewhere", b"x", retain=True)
        with House(workshop(tmp_path, mosquitto.port), make=Fake) as house:
            assert controller(house).memory_before == {}


def test_a_clean_stop_says_farewell_with_its_commands_first(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/service") as person:
        with House(workshop(tmp_path, mosquitto.port), make=Fake) as house:
            assert person.hears("leerie/service").value["running"] is True
            before = person.count
        person.hears("leerie/service", lambda heard: heard.value == {"running": False})
        assert [heard.payload for heard in person.heard[before:]] == [b"goodbye", b'{"running": false}']
        assert house.code == 0


def test_the_log_tells_what_was_refused_once_a_minute_and_cannot_be_forged(house: House, broker: Any) -> None:
    with Person(broker.port, "lamps/bench/do") as person:
        for number in range(3):
            person.say("workshop/bench/radar", str(number))
        person.hears("lamps/bench/do", lambda _: len(person.on("lamps/bench/do")) == 3)
    house.log.until("refused")
    assert len(house.log.of("refused")) == 1
    assert house.log.of("forged") == []


def test_states_of_a_chattering_room_are_bounded_and_the_newest_comes_last(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "leerie/room/+/state", "lamps/bench/do") as person:
        with House(workshop(tmp_path, mosquitto.port), speed=1, make=Fake):
            begun = person.count
            for number in range(200):
                person.say("workshop/bench/radar", str(number), wait=False)
            person.hears("lamps/bench/do", lambda _: len(person.on("lamps/bench/do")) == 200)
            states = person.on("leerie/room/workshop/state", begun)
            assert len(states) < 100, "five a second, and two hundred messages take less than twenty"
        person.hears("leerie/room/workshop/state", after=begun)


def test_a_broker_restart_is_a_new_beginning_for_the_link_and_none_for_the_controller(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, House(workshop(tmp_path, mosquitto.port), make=Fake) as house:
        mosquitto.stop()
        house.log.until("connection lost")
        mosquitto.start()
        with Person(mosquitto.port, "lamps/#", "leerie/service") as person:
            person.hears("leerie/service", lambda heard: heard.value["running"])
            assert person.on("lamps/bench/do") == []
        assert controller(house).told[-3:] == ["lost", "linked", "settled"]


KINDS: Mapping[str, Literal["presence", "hold", "button"]] = {
    "workshop/bench/radar": "presence",
    "leerie/room/workshop/hold": "hold",
    "workshop/button": "button",
}


class Slow(Fake):
    """Takes its time over the first message, until it is let go on."""

    def __init__(self, building: Building, memory: Mapping[str, bytes], boot: str, *, clock_known: bool = True) -> None:
        super().__init__(building, memory, boot, clock_known=clock_known)
        self.go_on = threading.Event()

    def filters(self) -> tuple[str, ...]:
        return tuple(KINDS)

    def receive(self, message: Message, now: Now) -> Outcome:
        assert self.go_on.wait(WITHIN_S)
        outcome = super().receive(message, now)
        heard = Heard(KINDS[message.topic], "bench_radar", "present", message.retained)
        return replace(outcome, notes=(heard, *outcome.notes))


@pytest.mark.parametrize(
    ("topic", "together"),
    [("workshop/bench/radar", True), ("leerie/room/workshop/hold", False), ("workshop/button", False)],
    ids=["sensor", "wish", "button"],
)
def test_what_came_together_is_written_down_together_but_each_wish_by_itself(
    topic: str, together: bool, tmp_path: Path
) -> None:
    """Else a disk that takes its time over each commit leaves the lamps waiting in a flood."""
    with Mosquitto(tmp_path) as mosquitto, House(workshop(tmp_path, mosquitto.port), make=Slow) as house:
        slow = controller(house)
        assert isinstance(slow, Slow)
        keep, kept = house.daemon._keeper.keep, []

        def spy(records: Mapping[str, bytes]) -> None:
            kept.extend([records] if records else [])
            keep(records)

        house.daemon._keeper.keep = spy  # type: ignore[method-assign] # a spy
        with Person(mosquitto.port, "lamps/bench/do") as person:
            for number in range(15):
                person.say(topic, str(number))
            slow.go_on.set()
            person.hears("lamps/bench/do", lambda _: len(person.on("lamps/bench/do")) == 15)
        house.log.until("refused")
    assert len(kept) < 15 if together else len(kept) >= 15


def test_the_controller_is_told_how_much_the_broker_takes_at_a_time(tmp_path: Path) -> None:
    """What it hands over beyond that would wait where no hold can call it back."""

    class Asking(Fake):
        def settled(self, now: Now, at_once: int = AT_ONCE) -> Outcome:
            self.told.append(at_once)
            return super().settled(now)

    settings = ("allow_anonymous true", "max_inflight_messages 3")
    with Mosquitto(tmp_path, settings) as mosquitto, House(workshop(tmp_path, mosquitto.port), make=Asking) as house:
        assert controller(house).told == ["linked", 3, "settled"]
