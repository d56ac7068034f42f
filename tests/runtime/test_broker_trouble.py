"""All that a broker, and the road to it, can do to the link: it notices, says why in a line, and comes back.

Numbers in brackets are sections of MQTT 5.0 (OASIS standard, 2019).
"""

import re
import struct
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import msgspec
import pytest

from brokers import WITHIN_S, Mosquitto, Person, at, free_port
from houses import Service, workshop
from leerie.config.running import Broker
from leerie.messages import AT_ONCE, RETAINED_AT_ONCE, Publish
from leerie.runtime import dialling, settling
from leerie.runtime import link as link_module
from leerie.runtime.backoff import Backoff
from leerie.runtime.connection import LONGEST, READ_AT_ONCE, Connection
from leerie.runtime.events import Acknowledged, Arrived, Linked, Lost, Recalled, Settled, Unreachable
from leerie.runtime.visit import NoVisitError, Visit
from links import Driver, linked
from peers import DISCONNECT, PUBLISH, Caller, Peer, Road

pytestmark = pytest.mark.broker

VERSIONS = pytest.mark.parametrize("protocol", ["5", "3.1.1"])


def impatient(port: int, protocol: str = "5") -> Broker:
    """It wants to hear of the broker each second."""
    return msgspec.structs.replace(at(port, protocol), keepalive_s=1)


@pytest.fixture(autouse=True)
def _no_time_to_lose(monkeypatch: pytest.MonkeyPatch) -> None:
    """How long it waits before it tries again is another test's."""
    monkeypatch.setattr(Backoff, "next_s", lambda _: 0.0)
    monkeypatch.setattr(dialling, "LOOK_S", 0.1)


@pytest.fixture
def peer() -> Iterator[Peer]:
    with Peer() as peer:
        yield peer


def lost(driver: Driver) -> str:
    """Why the connection went, once it has."""
    event = driver.until(Lost)
    assert isinstance(event, Lost)
    return event.why


def unreachable(driver: Driver) -> str:
    event = driver.until(Unreachable)
    assert isinstance(event, Unreachable)
    return event.why


# ---- dead, cut off, slow ---------------------------------------------------------------------------------------------


def test_a_broker_that_stands_still_is_noticed_and_its_return_too(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, linked(impatient(mosquitto.port)) as driver:
        driver.settle("shed/door")
        mosquitto.freeze()
        assert lost(driver) == "keep alive timeout"
        mosquitto.kill()
        mosquitto.start()
        driver.settle("shed/door")


def test_a_road_that_swallows_all_is_noticed(tmp_path: Path) -> None:
    """No end of the connection ever comes: a pulled cable, a firewall that has forgotten it."""
    with Mosquitto(tmp_path) as mosquitto, Road(mosquitto.port) as road, linked(impatient(road.port)) as driver:
        driver.settle("shed/door")
        road.swallows = True
        assert lost(driver) == "keep alive timeout"
        road.swallows = False
        driver.settle("shed/door")


@pytest.mark.parametrize("wanted", [0, 600])
def test_what_keep_alive_the_broker_wants_does_not_make_it_patient(peer: Peer, wanted: int) -> None:
    """Server keep alive (3.2.2.3.14) is how often it wants to hear of us at least; 0 is never."""
    peer.greet = lambda caller: caller.welcome(properties=b"\x13" + struct.pack(">H", wanted))
    peer.pings = False
    with linked(impatient(peer.port)) as driver:
        driver.settle("shed/door")
        assert lost(driver) == "keep alive timeout"


def test_a_broker_that_takes_nothing_more_is_noticed(peer: Peer) -> None:
    """It answers pings and acknowledges no publish: lamps would never hear anything again."""
    peer.takes = False
    with linked(impatient(peer.port)) as driver:
        driver.settle("shed/door")
        driver.link.command(Publish(1, "lamps/bench", b"on", 60))
        assert lost(driver) == "it has acknowledged nothing for 2 s"


def test_over_a_slow_road_all_records_arrive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They take longer than a canary may: as long as they come, it is waited for."""
    monkeypatch.setattr(settling, "CANARY_S", 2)
    topics = {f"leerie/memory/room_{number:02}" for number in range(20)}
    with (
        Mosquitto(tmp_path) as mosquitto,
        Person(mosquitto.port, "nothing") as person,
        Road(mosquitto.port) as road,
        linked(at(road.port, "5")) as driver,
    ):
        for topic in sorted(topics):
            person.say(topic, b"record" * 10, retain=True)
        driver.until(Linked)
        road.drip = (25, 0.04)  # 3 s for all of them
        driver.link.recall("leerie/memory/#", topics)
        recalled = driver.until(Recalled)
        assert isinstance(recalled, Recalled)
        assert set(recalled.records) == topics
        assert recalled.unserved == ()


def test_where_only_one_version_is_to_be_tried_a_slow_greeting_is_waited_for(
    peer: Peer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(link_module, "GREETING_S", 0.0)
    monkeypatch.setattr(link_module, "LAST_GREETING_S", 5.0)
    with linked(at(peer.port, "5")) as driver:
        held: list[Caller] = []
        peer.greet = held.append
        driver.turn(lambda: bool(held))
        driver.turn(lambda: driver.link._greet_by_s - time.monotonic() < 4.9)
        held[0].welcome()
        driver.until(Linked)
        assert not any(isinstance(event, Unreachable) for event in driver.events)
        assert peer.calls == 1


# ---- floods ----------------------------------------------------------------------------------------------------------


@VERSIONS
def test_of_a_flood_all_arrives_in_order_and_little_waits_inside(tmp_path: Path, protocol: str) -> None:
    flood = [str(number).encode() for number in range(3_000)]
    settings = ("allow_anonymous true", "max_queued_messages 0")
    with (
        Mosquitto(tmp_path, settings) as mosquitto,
        Person(mosquitto.port, "nothing") as person,
        linked(at(mosquitto.port, protocol)) as driver,
    ):
        driver.settle("shed/door")
        for payload in flood:
            person.say("shed/door", payload, wait=False)
        heard: list[bytes] = []
        most = 0
        end_s = time.monotonic() + 3 * WITHIN_S
        while len(heard) < len(flood) and time.monotonic() < end_s:
            connection = driver.link._connection
            assert connection is not None
            for event in driver.link.step(0.2):
                most = max(most, len(connection._inbox) + 1)
                if isinstance(event, Arrived):
                    driver.link.acknowledge(event.receipt)
                    heard.append(event.message.payload)
        assert heard == flood
        assert most <= READ_AT_ONCE + AT_ONCE


def test_a_daemon_in_a_flood_loses_nothing_that_it_acknowledged_and_does_not_grow(tmp_path: Path) -> None:
    """Ten thousand messages in one burst, and a wish behind them all."""
    settings = ("allow_anonymous true", "max_queued_messages 0")
    with Mosquitto(tmp_path, settings) as mosquitto, Person(mosquitto.port, "leerie/room/workshop/state") as person:
        port = free_port()
        config = workshop(tmp_path, mosquitto.port)
        config.write_text(config.read_text().replace('metrics = ""', f'metrics = "127.0.0.1:{port}"'))
        with Service(config) as service:
            service.log.until("settled")

            def flood(count: int, wish: str) -> int:
                """KiB that the daemon holds once it has heard so many, and the wish that came after them."""
                mark = person.count
                for number in range(count):
                    person.say("workshop/bench/radar", ("true", "false")[number // 10 % 2], wait=False)
                person.say("leerie/room/workshop/hold", wish, wait=False)
                state = None
                while state is None or (state.value["hold"] is not None) != (wish == "start"):
                    state = person.hears("leerie/room/workshop/state", after=mark)
                    mark += 1
                return _resident_kib(service.process.pid)

            before = flood(1_000, "start")
            assert flood(10_000, "end") - before < 8_192
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
                assert 'leerie_messages_received_total{kind="presence"} 11000.0' in answer.read().decode()


def _resident_kib(pid: int) -> int:
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1])


# ---- going out -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("protocol", "most"), [("5", 1), ("5", 3), ("5", None), ("3.1.1", None)])
def test_never_more_is_unacknowledged_than_the_broker_takes(peer: Peer, protocol: str, most: int | None) -> None:
    """Receive maximum (3.2.2.3.3); a broker ends the connection with who does not keep to it (4.9)."""
    if most is not None:
        peer.greet = lambda caller: caller.welcome(properties=b"\x21" + struct.pack(">H", most))
    allowed = most or AT_ONCE
    peer.takes = False
    with linked(at(peer.port, protocol)) as driver:
        driver.settle("shed/door")
        driver.link.retain("leerie/sky", lambda: b"{}")
        for ticket in range(1, 51):
            driver.link.command(Publish(ticket, "lamps/bench", str(ticket).encode(), 60))
        told: list[bytes] = []
        for left in range(51, 0, -1):
            driver.turn(lambda left=left: len(peer.said) == min(allowed, left))
            told += [said.payload for said in peer.take(1)]
        assert told == [*(str(ticket).encode() for ticket in range(1, 51)), b"{}"]
        driver.turn(lambda: driver.link.idle)
        assert [event for event in driver.events if isinstance(event, Acknowledged)] == [
            Acknowledged(ticket, True) for ticket in range(1, 51)
        ]


def test_a_real_broker_that_takes_one_at_a_time_gets_all(tmp_path: Path) -> None:
    settings = ("allow_anonymous true", "max_inflight_messages 1")
    with (
        Mosquitto(tmp_path, settings) as mosquitto,
        Person(mosquitto.port, "lamps/#") as person,
        linked(at(mosquitto.port, "5")) as driver,
    ):
        driver.settle("shed/door")
        assert driver.link._connection is not None
        assert driver.link._connection.limit == 1
        for ticket in range(1, 41):
            driver.link.command(Publish(ticket, "lamps/bench", str(ticket).encode(), 60))
        driver.until(lambda event: event == Acknowledged(40, True))
        person.hears("lamps/bench", lambda heard: heard.payload == b"40")
        assert [heard.payload for heard in person.on("lamps/bench")] == [str(n).encode() for n in range(1, 41)]


def test_while_nothing_is_taken_nothing_spins_and_what_waited_is_dropped_with_the_connection(peer: Peer) -> None:
    peer.takes = False
    with linked(at(peer.port, "5")) as driver:
        driver.settle("shed/door")
        for number in range(30):
            driver.link.retain(f"leerie/room/{number}/state", lambda: b"{}")
        driver.link.flush(0)
        assert driver.link.due() is None
        for ticket in range(1, 51):
            driver.link.command(Publish(ticket, "lamps/bench", b"old", 60))
        driver.turn(lambda: len(peer.said) == AT_ONCE)
        assert sum(said.topic == "lamps/bench" for said in peer.said) == AT_ONCE - RETAINED_AT_ONCE
        assert peer.caller is not None
        peer.takes = True
        peer.said.clear()
        peer.caller.leave(0x8B)
        driver.until(Lost)
        driver.settle("shed/door")
        driver.turn(lambda: driver.link.idle)
        assert {said.topic for said in peer.said} == {f"leerie/room/{number}/state" for number in range(30)}


# ---- what is not MQTT, or not sane -----------------------------------------------------------------------------------


@VERSIONS
def test_who_closes_after_connect_is_named_once(peer: Peer, protocol: str) -> None:
    peer.greet = Caller.close
    with linked(at(peer.port, protocol)) as driver:
        why = f"it closed the connection without a word; is port {peer.port} for TLS, and broker.tls missing?"
        assert unreachable(driver) == why
        driver.turn(lambda: peer.calls >= 3)
        assert driver.events == [Unreachable(why)]


@pytest.mark.parametrize(("protocol", "code"), [("5", 0x7F), ("5", 0xFF), ("3.1.1", 6), ("3.1.1", 0xFF)])
def test_a_greeting_of_an_unknown_code_is_no_welcome(peer: Peer, protocol: str, code: int) -> None:
    peer.greet = lambda caller: caller.welcome(code)
    with linked(at(peer.port, protocol)) as driver:
        unreachable(driver)
        driver.turn(lambda: peer.calls >= 2)
        assert len(driver.events) == 1


@pytest.mark.parametrize(
    ("code", "properties", "said"),
    [
        (0x88, b"", "server unavailable"),
        (0x89, b"", "server busy"),
        (0x8A, b"", "banned"),
        (0x97, b"", "quota exceeded"),
        (0x9A, b"", "retain not supported"),
        (0x9C, b"\x1c\x00\x0belsewhere:1", "use another server; it points to elsewhere:1"),
        (0x9D, b"\x1c\x00\x0belsewhere:1", "server moved; it points to elsewhere:1"),
        (0x9F, b"", "connection rate exceeded"),
    ],
)
def test_why_it_lets_us_not_in_is_told(peer: Peer, code: int, properties: bytes, said: str) -> None:
    """CONNACK reason codes (3.2.2.2)."""
    peer.greet = lambda caller: caller.welcome(code, properties)
    with linked(at(peer.port, "5")) as driver:
        assert unreachable(driver) == said


@pytest.mark.parametrize(
    ("code", "properties", "said"),
    [
        (0x82, b"", "protocol error"),
        (0x8B, b"", "server shutting down"),
        (0x8E, b"", "session taken over"),
        (0x93, b"", "receive maximum exceeded"),
        (0x97, b"", "quota exceeded"),
        (0x98, b"", "administrative action"),
        (0x9D, b"\x1c\x00\x0belsewhere:1", "server moved; it points to elsewhere:1"),
        (0xFE, b"", "what it sent is no MQTT 5"),
    ],
)
def test_why_it_sends_us_away_is_told_and_we_come_back(peer: Peer, code: int, properties: bytes, said: str) -> None:
    """DISCONNECT reason codes (3.14.2.1)."""
    with linked(at(peer.port, "5")) as driver:
        driver.settle("shed/door")
        assert peer.caller is not None
        peer.caller.leave(code, properties)
        assert lost(driver).startswith(said)
        driver.settle("shed/door")


NONSENSE: tuple[tuple[str, Callable[[Caller], None]], ...] = (
    ("an unknown packet", lambda caller: caller.send(0x00, b"hello")),
    ("another tongue", lambda caller: caller.sock.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")),
    ("a length that has no end", lambda caller: caller.sock.sendall(b"\x30\xff\xff\xff\xff\xff\x01")),
    ("a publish without a topic", lambda caller: caller.send(PUBLISH, b"\x00")),
    ("a topic longer than its packet", lambda caller: caller.send(PUBLISH, b"\xff\xffshed")),
    ("an acknowledgement of nothing", lambda caller: caller.send(0x40, b"\x00")),
    ("a subscription's answer without an end", lambda caller: caller.send(0x90, b"\x00")),
    ("a disconnect with broken properties", lambda caller: caller.send(DISCONNECT, b"\x00\x7f\x01")),
)


@VERSIONS
@pytest.mark.parametrize("nonsense", [case[1] for case in NONSENSE], ids=[case[0] for case in NONSENSE])
def test_nonsense_is_the_end_of_the_connection_and_of_nothing_else(
    peer: Peer, protocol: str, nonsense: Callable[[Caller], None]
) -> None:
    with linked(at(peer.port, protocol)) as driver:
        driver.settle("shed/door")
        assert peer.caller is not None
        nonsense(peer.caller)
        peer.caller.sock.shutdown(1)  # what is cut short ends here
        driver.until(Lost)
        driver.settle("shed/door")


@VERSIONS
def test_a_huge_packet_is_not_waited_for(peer: Peer, protocol: str) -> None:
    """256 MiB less a byte, the longest there can be (2.1.4), of which only the beginning ever comes."""
    with linked(at(peer.port, protocol)) as driver:
        driver.settle("shed/door")
        assert peer.caller is not None
        peer.caller.sock.sendall(b"\x30\xff\xff\xff\x7f" + bytes(1_000))
        assert lost(driver) == f"it sends a packet of 268435455 bytes; more than {LONGEST} are never read"
        driver.settle("shed/door")


def test_a_real_broker_keeps_huge_messages_to_itself(tmp_path: Path) -> None:
    """It is told the longest packet that we take (3.1.2.11.4), and one on a sensor's topic does not shut us out."""
    with (
        Mosquitto(tmp_path) as mosquitto,
        Person(mosquitto.port, "nothing") as person,
        linked(at(mosquitto.port, "5")) as driver,
    ):
        person.say("shed/door", b"x" * (LONGEST + 1), retain=True)
        person.say("shed/window", "open", retain=True)
        driver.settle("shed/door", "shed/window")
        assert [event.message.topic for event in driver.events if isinstance(event, Arrived)] == ["shed/window"]


def test_whatever_goes_wrong_while_dialling_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """It happens in a thread of its own, and nobody would ever hear of one that had died."""

    def dial(_: Connection) -> None:
        raise RuntimeError("the line is in a knot")

    monkeypatch.setattr(Connection, "dial", dial)
    with linked(at(1883)) as driver:
        assert unreachable(driver) == "the line is in a knot"


# ---- fights ----------------------------------------------------------------------------------------------------------


@VERSIONS
def test_two_buildings_with_one_client_id_do_not_fight_for_ever(tmp_path: Path, protocol: str) -> None:
    """Neither stands in the other's place, so neither stops; whoever is thrown off for the third time gives in."""
    with Mosquitto(tmp_path) as mosquitto, ExitStack() as stack:
        ours = stack.enter_context(linked(at(mosquitto.port, protocol)))
        theirs = stack.enter_context(linked(msgspec.structs.replace(at(mosquitto.port, protocol), topics="mill")))
        ours.settle("shed/door")
        theirs.settle("shed/door")
        while not (given_in := [event for event in ours.events if isinstance(event, Lost) and "one is" in event.why]):
            for driver in (ours, theirs):
                driver.events.extend(driver.link.step(0.05))
            assert len(ours.events) + len(theirs.events) < 20
        assert re.search(
            r", for the third time so soon: is another client called leerie, too\? "
            r"From here on this one is leerie-[0-9a-f]{8}; give each its own broker\.client_id$",
            given_in[0].why,
        )
        if not isinstance(theirs.events[-1], Linked):
            theirs.until(Linked)
        theirs.link.follow(("shed/door",))
        theirs.until(Settled)
        mark = len(theirs.events)
        ours.settle("shed/door")
        with Person(mosquitto.port, "nothing") as person:
            person.say("shed/door", "open")
            for driver in (ours, theirs):
                driver.until(lambda event: isinstance(event, Arrived) and event.message.payload == b"open")
        assert not any(isinstance(event, Lost) for event in theirs.events[mark:])


@VERSIONS
def test_who_is_sent_away_each_time_comes_back_ever_later(
    peer: Peer, monkeypatch: pytest.MonkeyPatch, protocol: str
) -> None:
    """Short connections are no good ones: without this they would make and lose one twice a second."""
    delays: list[float] = []

    def next_s(backoff: Backoff) -> float:
        delays.append(backoff._longest_s)
        backoff._longest_s *= 2
        return 0.0

    monkeypatch.setattr(Backoff, "next_s", next_s)
    with linked(at(peer.port, protocol)) as driver:
        for _ in range(4):
            driver.settle("shed/door")
            assert peer.caller is not None
            peer.caller.sock.shutdown(2)
            driver.until(Lost)
        assert delays == [0.5, 1.0, 2.0, 4.0]
        driver.settle("shed/door")
        monkeypatch.setattr(link_module, "STEADY_S", 0.0)  # long enough, this time
        peer.caller.sock.shutdown(2)
        driver.until(Lost)
        assert delays[-1] == 0.5


# ---- visits ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("protocol", ["5", "3.1.1", "auto"])
@pytest.mark.parametrize(
    "greet",
    [Caller.close, lambda caller: caller.welcome(0xFF), lambda caller: caller.send(0x00, b"hello")],
    ids=["closes", "unknown code", "nonsense"],
)
def test_a_visit_to_a_bad_broker_ends_with_a_line(peer: Peer, protocol: str, greet: Callable[[Caller], None]) -> None:
    peer.greet = greet
    with pytest.raises(NoVisitError) as caught, Visit(at(peer.port, protocol), "somebody"):
        pass
    assert str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_visit_that_is_cut_short_says_so(peer: Peer) -> None:
    with Visit(at(peer.port, "5"), "somebody") as visit:
        assert peer.caller is not None
        peer.caller.leave(0x97)
        with pytest.raises(NoVisitError, match="quota exceeded"):
            list(visit.words(WITHIN_S))


def test_settled_once_for_each_connection(peer: Peer) -> None:
    with linked(at(peer.port, "5")) as driver:
        for _ in range(3):
            driver.settle("shed/door")
            assert peer.caller is not None
            peer.caller.leave(0x8B)
            driver.until(Lost)
        assert [type(event) for event in driver.events] == [Linked, Settled, Lost] * 3
