"""The link with real brokers: it settles, comes back, and says what is wrong."""

import gc
import socket
import subprocess
import threading
from pathlib import Path

import msgspec
import pytest

from brokers import Kind, Mosquitto, Person, at, certificates, real_part, serving
from leerie.config.running import Broker, Tls
from leerie.messages import Publish
from leerie.runtime import settling
from leerie.runtime.events import (
    Acknowledged,
    Arrived,
    Denied,
    Displaced,
    Linked,
    Lost,
    Recalled,
    Settled,
    Unreachable,
)
from links import FAREWELL, linked

pytestmark = pytest.mark.broker


def test_what_the_broker_kept_arrives_before_settled(broker: Broker) -> None:
    """Values come retained and before `Settled`, over more batches than one, and none is lost."""
    topics = [f"shed/{number}" for number in range(250)]
    with Person(broker.port, "nothing") as person, linked(broker) as driver:
        for topic in topics:
            person.say(topic, topic, retain=True)
        driver.settle(*topics)
        arrived = [event.message for event in driver.events if isinstance(event, Arrived)]
        assert {message.topic: message.payload for message in arrived} == {topic: topic.encode() for topic in topics}
        assert all(message.retained for message in arrived)


def test_all_records_come_back(broker: Broker) -> None:
    """Thousands of them: what does not fit into a broker's queue for a client would be dropped in silence."""
    topics = {f"leerie/memory/room_{number}" for number in range(3_000)}
    with Person(broker.port, "nothing") as person, linked(broker) as driver:
        for topic in sorted(topics):
            person.say(topic, b"record of " + topic.encode(), retain=True)
        driver.until(Linked)
        driver.link.recall("leerie/memory/#", topics)
        recalled = driver.until(Recalled)
        assert isinstance(recalled, Recalled)
        assert dict(recalled.records) == {topic: b"record of " + topic.encode() for topic in topics}
        assert recalled.unserved == ()


def test_records_are_fetched_once_and_not_followed(broker: Broker) -> None:
    with Person(broker.port, "leerie/memory/#") as person, linked(broker) as driver:
        driver.until(Linked)
        driver.link.recall("leerie/memory/#", {"leerie/memory/attic"})
        driver.until(Recalled)
        driver.link.follow(("shed/door",))
        driver.until(Settled)
        person.say("leerie/memory/attic", "later", retain=True)
        person.say("shed/door", "open")
        driver.until(Arrived)
        assert [event.message.topic for event in driver.events if isinstance(event, Arrived)] == ["shed/door"]


def test_a_live_message_is_not_retained(broker: Broker) -> None:
    with Person(broker.port, "nothing") as person, linked(broker) as driver:
        driver.settle("shed/door")
        person.say("shed/door", "open", retain=True)
        arrived = driver.until(Arrived)
        assert isinstance(arrived, Arrived)
        assert arrived.message.payload == b"open"
        assert not arrived.message.retained


def test_a_command_is_acknowledged_with_its_ticket_and_not_retained(broker: Broker) -> None:
    with Person(broker.port, "lamps/#") as person, linked(broker) as driver:
        driver.settle("shed/door")
        driver.link.command(Publish(7, "lamps/bench", b"on", 60))
        assert driver.until(Acknowledged) == Acknowledged(7, True)
        assert not person.hears("lamps/bench").retained
    with Person(broker.port, "lamps/#", "leerie/service") as late, linked(broker) as driver:
        driver.settle("shed/door")
        driver.link.retain("leerie/service", lambda: b"{}")
        driver.turn(lambda: driver.link.idle)
        late.hears("leerie/service")
        assert late.on("lamps/bench") == []


def test_nothing_goes_out_before_it_has_settled(broker: Broker) -> None:
    """Commands before that are dropped, retained values wait."""
    with Person(broker.port, "lamps/#", "leerie/room/#") as person, linked(broker) as driver:
        driver.until(Linked)
        driver.link.command(Publish(1, "lamps/bench", b"early", 60))
        driver.link.retain("leerie/room/shed/state", lambda: b"waited")
        driver.link.flush(0)
        driver.link.follow(("shed/door",))
        driver.until(Settled)
        driver.turn(lambda: driver.link.idle)
        person.hears("leerie/room/shed/state")
        assert person.on("lamps/bench") == []


def test_dying_leaves_the_will_and_a_clean_goodbye_does_not(broker: Broker) -> None:
    with Person(broker.port, "leerie/service") as person:
        with linked(broker) as driver:
            driver.settle("shed/door")
        with linked(broker) as driver:
            driver.settle("shed/door")
            assert person.on("leerie/service") == []
            connection = driver.link._connection
            assert connection is not None
            connection.hang_up()
            driver.link._connection = None
            assert person.hears("leerie/service").payload == FAREWELL


def test_auto_falls_back_to_what_the_broker_speaks(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, linked(at(mosquitto.port, "auto")) as driver:
        assert driver.until(Linked) == Linked("5")


def test_it_waits_for_a_broker_that_is_not_there_yet(tmp_path: Path) -> None:
    """One line for the reason, not one a try; then it connects by itself."""
    mosquitto = Mosquitto(tmp_path)
    with linked(at(mosquitto.port)) as driver:
        assert driver.until(Unreachable) == Unreachable("connection refused")
        with mosquitto:
            driver.settle("shed/door")
        assert [event for event in driver.events if isinstance(event, Unreachable)] == [
            Unreachable("connection refused")
        ]


def test_it_comes_back_after_a_broker_restart(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, linked(at(mosquitto.port)) as driver:
        driver.settle("shed/door")
        mosquitto.stop()
        driver.until(Lost)
        assert not driver.link.up
        driver.link.command(Publish(1, "lamps/bench", b"stale", 60))
        mosquitto.start()
        with Person(mosquitto.port, "lamps/#") as person:
            driver.settle("shed/door")
            driver.link.command(Publish(2, "lamps/bench", b"fresh", 60))
            assert person.hears("lamps/bench").payload == b"fresh"


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_a_command_that_the_broker_never_acknowledged_is_not_sent_again(tmp_path: Path, protocol: str) -> None:
    """It may be stale by then: a hold may have begun."""
    with Mosquitto(tmp_path) as mosquitto, linked(at(mosquitto.port, protocol)) as driver:
        driver.settle("shed/door")
        mosquitto.freeze()
        driver.link.command(Publish(1, "lamps/bench", b"stale", 60))
        mosquitto.kill()
        driver.until(Lost)
        mosquitto.start()
        with Person(mosquitto.port, "lamps/#") as person:
            driver.settle("shed/door")
            driver.link.command(Publish(2, "lamps/bench", b"fresh", 60))
            driver.until(Acknowledged)
            person.hears("lamps/bench", lambda heard: heard.payload == b"fresh")
            assert [heard.payload for heard in person.on("lamps/bench")] == [b"fresh"]
            assert [event for event in driver.events if isinstance(event, Acknowledged)] == [Acknowledged(2, True)]


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_was_retained_while_away_goes_out_with_its_newest_value(tmp_path: Path, protocol: str) -> None:
    with Mosquitto(tmp_path) as mosquitto, linked(at(mosquitto.port, protocol)) as driver:
        driver.settle("shed/door")
        mosquitto.stop()
        driver.until(Lost)
        for value in (b"old", b"newer", b"newest"):
            driver.link.retain("leerie/room/shed/state", lambda value=value: value)
        mosquitto.start()
        with Person(mosquitto.port, "leerie/room/#") as person:
            driver.settle("shed/door")
            driver.turn(lambda: driver.link.idle)
            person.hears("leerie/room/shed/state")
            assert [heard.payload for heard in person.on("leerie/room/shed/state")] == [b"newest"]


@pytest.mark.parametrize("protocol", ["5", "3.1.1", "auto"])
def test_a_bad_password_is_one_clear_reason(tmp_path: Path, protocol: str) -> None:
    settings = ("allow_anonymous false", f"password_file {_passwords(tmp_path)}")
    with Mosquitto(tmp_path, settings) as mosquitto:
        with linked(at(mosquitto.port, protocol, **login("wrong"))) as driver:
            why = "not authorized as broker.username 'leerie' with this password"
            assert driver.until(Unreachable) == Unreachable(why)
        with linked(at(mosquitto.port, protocol)) as driver:
            assert driver.until(Unreachable) == Unreachable("not authorized without broker.username")
        with linked(at(mosquitto.port, protocol, **login("rosin"))) as driver:
            driver.settle("shed/door")


def test_where_the_canary_is_not_served_it_says_so_and_settles_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The broker grants the subscription, but its access list serves only what is named there."""
    monkeypatch.setattr(settling, "CANARY_S", 1)
    access = tmp_path / "access"
    access.write_text("topic readwrite shed/#\ntopic readwrite lamps/#\n")
    with (
        Mosquitto(tmp_path, ("allow_anonymous true", f"acl_file {access}")) as mosquitto,
        Person(mosquitto.port, "lamps/#") as person,
        linked(at(mosquitto.port)) as driver,
    ):
        person.say("shed/door", "open", retain=True)
        driver.until(Linked)
        driver.link.recall("leerie/memory/#", {"leerie/memory/attic"})
        recalled = driver.until(Recalled)
        assert recalled == Recalled({}, ("leerie/canary",))
        driver.link.follow(("shed/door", *(f"shed/{number}" for number in range(150))))
        assert driver.until(Settled) == Settled(())
        driver.link.command(Publish(1, "lamps/bench", b"on", 60))
        person.hears("lamps/bench")
        driver.link.retain("leerie/room/attic/state", lambda: b"{}")
        driver.turn(lambda: driver.link.idle)
        assert Denied("leerie/room/attic/state") in driver.events


def login(password: str) -> dict[str, str]:
    return {"username": "leerie", "password": password}


def _passwords(folder: Path) -> Path:
    """A password file for mosquitto: user leerie, password rosin."""
    path = folder / "passwords"
    subprocess.run(
        [real_part("mosquitto_passwd"), "-b", "-c", path, "leerie", "rosin"], check=True, capture_output=True
    )
    return path


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_thrown_off_it_looks_before_it_comes_back(tmp_path: Path, protocol: str) -> None:
    """With one client id on two daemons each would throw the other off for ever. The older one throws off nobody."""
    card = b'{"running": true, "instance": "newer"}'
    with Mosquitto(tmp_path) as mosquitto:
        config = at(mosquitto.port, protocol)
        with linked(config, displaces=lambda found: found == card) as older, linked(config) as newer:
            older.settle("shed/door")
            newer.settle("shed/door")
            newer.link.retain("leerie/service", lambda: card)
            newer.turn(lambda: newer.link.idle)
            older.until(Lost)
            assert older.until(Displaced) == Displaced(card)
            newer.link.command(Publish(1, "lamps/bench", b"on", 60))
            assert newer.until(Acknowledged) == Acknowledged(1, True)
            assert not any(isinstance(event, Lost) for event in newer.events)


def test_thrown_off_with_nobody_in_its_place_it_comes_back(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, linked(at(mosquitto.port)) as driver:
        driver.settle("shed/door")
        with linked(at(mosquitto.port)) as other:
            other.settle("shed/door")
        driver.until(Lost)
        driver.settle("shed/door")


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")
@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_over_tls_with_a_client_certificate(tmp_path: Path, protocol: str) -> None:
    papers = certificates(tmp_path)
    settings = (
        "allow_anonymous true",
        f"cafile {papers / 'ca.pem'}",
        f"certfile {papers / 'server.pem'}",
        f"keyfile {papers / 'server.key'}",
        "require_certificate true",
    )
    with Mosquitto(tmp_path, settings) as mosquitto:
        ours = Tls(str(papers / "ca.pem"), str(papers / "client.pem"), str(papers / "client.key"))
        with linked(at(mosquitto.port, protocol, tls=ours)) as driver:
            driver.settle("shed/door")
            # More than one TLS record holds: bytes that are decrypted already wake no selector.
            for ticket in range(1, 21):
                driver.link.command(Publish(ticket, "shed/door", b"x" * 20_000, 60))
            driver.until(lambda event: event == Acknowledged(20, True))
            driver.turn(lambda: sum(isinstance(event, Arrived) for event in driver.events) == 20)
        with linked(at(mosquitto.port, protocol, tls=Tls(None, None, None))) as driver:
            unreachable = driver.until(Unreachable)
            assert isinstance(unreachable, Unreachable)
            assert unreachable.why.startswith("its certificate is not trusted")
    gc.collect()


def test_with_a_missing_certificate_it_says_which(tmp_path: Path) -> None:
    tls = Tls(str(tmp_path / "nowhere.pem"), None, None)
    with linked(at(1, tls=tls)) as driver:
        unreachable = driver.until(Unreachable)
        assert isinstance(unreachable, Unreachable)
        assert unreachable.why == f"broker.tls.ca {tls.ca}: no such file or directory"


def test_a_host_that_no_name_service_knows_is_one_clear_reason() -> None:
    with linked(msgspec.structs.replace(at(1883), host="workshop.invalid")) as driver:
        assert isinstance(driver.until(Unreachable), Unreachable)


def test_what_is_no_mqtt_is_no_crash() -> None:
    """A port that answers in another tongue: it says so and tries again later."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            for _ in range(2):
                client, _address = server.accept()
                with client:
                    client.recv(1_000)
                    client.sendall(b"\x30\xff\xff\xff\xff\xff 220 welcome\r\n" * 20)

        threading.Thread(target=answer, daemon=True).start()
        with linked(at(server.getsockname()[1])) as driver:
            assert isinstance(driver.until(Unreachable), Unreachable)


def test_auto_gets_along_with_a_broker_that_misreads_mqtt_5(tmp_path: Path) -> None:
    """One of them, amqtt, takes our MQTT 5 CONNECT for 3.1.1 and waits for more of it."""
    with serving(Kind("amqtt", "auto"), tmp_path) as config, linked(config) as driver:
        assert driver.until(Linked) == Linked("3.1.1")
