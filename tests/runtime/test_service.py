"""`leerie run` as a process: it starts, stops, dies and comes back, and says each time in a line what is the matter."""

import json
import signal
import subprocess
import urllib.request
from datetime import UTC, datetime
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families

from brokers import Mosquitto, Person, free_port, real_part
from houses import Service, workshop
from leerie import __version__

pytestmark = pytest.mark.broker

LAMP = "lamps/bench/do"
DISPLACED = "another leerie, begun later, runs on the same topics: this one stops; give each its own broker.topics"
STATE = "leerie/room/workshop/state"


def state_dir(folder: Path) -> str:
    return f'state_dir = "{folder / "state"}"'


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_stops_cleanly(tmp_path: Path, number: signal.Signals) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "leerie/service") as person:
        with Service(workshop(tmp_path, mosquitto.port)) as service:
            card = person.hears("leerie/service", lambda heard: bool(heard.value["running"])).value
            assert (card["version"], set(card)) == (__version__, {"running", "since", "seen", "version", "instance"})
            assert service.end(number) == 0
        assert person.heard[-1].payload == b'{"running": false}'
        assert person.heard[-1].topic == "leerie/service"


def test_it_stops_without_a_broker_too(tmp_path: Path) -> None:
    port = free_port()
    with Service(workshop(tmp_path, port)) as service:
        line = service.log.until("not connected, trying again")
        assert (line["broker"], line["why"]) == (f"127.0.0.1:{port}", "connection refused")
        assert service.end() == 0


def test_it_stops_when_the_broker_has_frozen(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Service(workshop(tmp_path, mosquitto.port)) as service:
        service.log.until("settled")
        mosquitto.freeze()
        assert service.end() == 0
        mosquitto.kill()


def test_killed_in_a_hold_it_comes_back_in_the_hold_and_sends_nothing_to_its_lamps(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/#") as person:
        config = workshop(tmp_path, mosquitto.port, service=state_dir(tmp_path))
        with Service(config) as service:
            service.log.until("settled")
            person.say("workshop/bench/radar", "true")
            person.hears(LAMP)
            person.say("leerie/room/workshop/hold", '{"hold": true, "for": "ever"}')
            person.hears(STATE, lambda heard: bool(heard.value["state"] == "hold"))
            service.end(signal.SIGKILL)
        person.hears("leerie/service", lambda heard: heard.value == {"running": False})
        mark = person.count
        with Service(config):
            person.hears(STATE, lambda heard: bool(heard.value["state"] == "hold"), after=mark)
            person.say("workshop/bench/radar", "false")
            person.hears(STATE, lambda heard: bool(heard.value["occupancy"] == "grace"), after=mark)
            assert person.on(LAMP, mark) == []
            person.say("leerie/room/workshop/hold", "end")
            person.hears(LAMP, after=mark)


@pytest.mark.parametrize("left", ["folder", "broker"])
def test_a_hold_survives_with_the_folder_alone_and_with_the_broker_alone(tmp_path: Path, left: str) -> None:
    with Mosquitto(tmp_path) as mosquitto:
        config = workshop(tmp_path, mosquitto.port, service=state_dir(tmp_path) if left == "folder" else "")
        with Service(config) as service, Person(mosquitto.port, STATE) as person:
            service.log.until("settled")
            person.say("leerie/room/workshop/hold", '{"hold": true, "level": 0.5}')
            held = person.hears(STATE, lambda heard: heard.value["hold"] is not None).value["hold"]
            service.end(signal.SIGKILL)
        if left == "folder":
            mosquitto.stop()  # and with it all that it kept
            mosquitto.start()
        with Service(config), Person(mosquitto.port, STATE) as person:
            again = person.hears(STATE, lambda heard: not heard.retained).value["hold"]
        assert again == held


def test_with_a_missing_folder_it_says_so_and_lights_all_the_same(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#") as person:
        config = workshop(tmp_path, mosquitto.port, service=f'state_dir = "{tmp_path}/no/such"')
        with Service(config) as service:
            line = service.log.until("no records in the folder")
            assert line["why"] == f"{tmp_path}/no/such: no records can be kept here: No such file or directory"
            service.log.until("settled")
            person.say("workshop/bench/radar", "true")
            person.hears(LAMP)


def test_a_bad_password_is_one_clear_line_and_stays_out_of_the_log(tmp_path: Path) -> None:
    passwords = tmp_path / "passwords"
    make = [real_part("mosquitto_passwd"), "-b", "-c", passwords, "leerie", "rosin-and-horsehair"]
    subprocess.run(make, check=True, capture_output=True)
    with Mosquitto(tmp_path, ("allow_anonymous false", f"password_file {passwords}")) as mosquitto:
        login = 'username = "leerie"\npassword = "{}"'.format
        with Service(workshop(tmp_path, mosquitto.port, login("spruce-and-maple"))) as service:
            line = service.log.until("not connected, trying again")
            assert line["why"] == "not authorized as broker.username 'leerie' with this password"
            service.end()
        assert "spruce-and-maple" not in json.dumps(service.log.lines)
        with Service(workshop(tmp_path, mosquitto.port, login("rosin-and-horsehair"))) as service:
            service.log.until("settled")
            service.end()
        assert "rosin-and-horsehair" not in json.dumps(service.log.lines)


@pytest.mark.parametrize("same", [True, False], ids=["same client id", "own client id"])
def test_of_two_daemons_the_older_stops_and_says_so(tmp_path: Path, same: bool) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/service") as person:
        (tmp_path / "second").mkdir()
        first = workshop(tmp_path, mosquitto.port)
        second = workshop(tmp_path / "second", mosquitto.port, "" if same else 'client_id = "other"')
        with Service(first) as older:
            card = person.hears("leerie/service", lambda heard: bool(heard.value["running"])).value
            older.log.until("settled")
            while_older = card["since"]
            _wait_for_the_next_second(person, while_older)
            with Service(second) as newer:
                newer.log.until("settled")
                line = older.log.until(DISPLACED)
                assert line["client_id"] == "leerie"
                assert older.process.wait(10) == 1
                mark = person.count
                person.say("workshop/bench/radar", "true")
                person.hears("lamps/bench/do", after=mark)
                assert newer.process.poll() is None
                last = [heard.value for heard in person.on("leerie/service")][-1]
                assert last["instance"] != card["instance"]


def _wait_for_the_next_second(person: Person, since: str) -> None:
    """Two daemons begun in one second are told apart by their names, and either may be the one that stays."""
    while datetime.now(UTC).replace(microsecond=0) <= datetime.fromisoformat(since):
        person.say("nothing/happens", "")


def test_the_scrape_page_tells_of_the_daemon(tmp_path: Path) -> None:
    port = free_port()
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", STATE) as person:
        config = workshop(tmp_path, mosquitto.port)
        config.write_text(config.read_text().replace('metrics = ""', f'metrics = "127.0.0.1:{port}"'))
        with Service(config) as service:
            service.log.until("settled")
            person.say("workshop/bench/radar", "true")
            person.hears(STATE, lambda heard: bool(heard.value["state"] == "occupied"))
            person.say("workshop/bench/radar", "perhaps")
            service.log.until("refused")
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz") as answer:
                assert answer.status == 200
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
                text = answer.read().decode()
    samples = {
        (sample.name, *sorted(sample.labels.values())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }
    assert samples["leerie_build_info", __version__] == 1
    assert samples["leerie_broker_connected",] == 1
    assert samples["leerie_broker_reconnects_total",] == 0
    assert samples["leerie_messages_received_total", "presence"] == 1
    assert samples["leerie_messages_refused_total", "bench_radar", "unknown_word"] == 1
    assert samples["leerie_commands_sent_total", "bench", "occupancy"] == 1
    assert samples["leerie_commands_coalesced_total", "bench"] == 0
    assert samples["leerie_decision_seconds_count",] == 1
    assert samples["leerie_room_state", "occupied", "workshop"] == 1
    assert samples["leerie_room_state", "vacant", "workshop"] == 0
    assert samples["leerie_room_transitions_total", "grace", "occupied", "workshop"] == 1
    assert samples["leerie_room_false_offs_total", "arriving", "workshop"] == 0
    assert samples["leerie_hold_active", "workshop"] == 0
    assert samples["leerie_room_faults", "stair"] == 0


def test_with_the_embedded_broker_it_needs_no_other(tmp_path: Path) -> None:
    pytest.importorskip("amqtt", reason="the demo extra is not installed")
    port = free_port()
    with Service(workshop(tmp_path, port), "--embedded-broker") as service:
        service.log.until("settled")
        with Person(port, "lamps/#") as person:
            person.say("workshop/bench/radar", "true")
            person.hears(LAMP)
        assert service.end() == 0
        assert service.log.other == [f"config: {tmp_path}/leerie.toml"]


@pytest.mark.parametrize(
    ("broker", "said"),
    [
        ('host = "broker.workshop.example"', "broker.host is broker.workshop.example"),
        ('protocol = "5"', "MQTT 3.1.1 only"),
        ("tls = {}", "no TLS"),
    ],
)
def test_the_embedded_broker_says_what_it_cannot_do(tmp_path: Path, broker: str, said: str) -> None:
    with Service(workshop(tmp_path, free_port(), broker), "--embedded-broker") as service:
        assert service.process.wait(10) == 1
    assert len(service.log.other) == 2
    assert said in service.log.other[1]


def test_a_port_that_is_taken_is_one_clear_line(tmp_path: Path) -> None:
    pytest.importorskip("amqtt", reason="the demo extra is not installed")
    with Mosquitto(tmp_path) as mosquitto:
        with Service(workshop(tmp_path, mosquitto.port), "--embedded-broker") as service:
            assert service.process.wait(10) == 1
        assert len(service.log.other) == 2
        assert "in use" in service.log.other[1]
