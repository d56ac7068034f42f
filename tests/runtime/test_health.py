"""`leerie health` at a real broker: one clear line and an exit code, whatever has become of the daemon."""

import json
import signal
import socketserver
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pytest

from brokers import Mosquitto, Person, free_port
from houses import Service, workshop
from leerie.cli.main import main
from leerie.runtime.instance import Instance

pytestmark = pytest.mark.broker


class Said(NamedTuple):
    code: int
    out: str
    err: list[str]
    """Lines, without the one that shows the config's path."""


class Health:
    """Asks after the daemon of this config."""

    def __init__(self, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.config = config
        self._capsys = capsys

    def __call__(self) -> Said:
        self._capsys.readouterr()
        code = main(["health", "--config", str(self.config)])
        out, err = self._capsys.readouterr()
        return Said(code, out, [line for line in err.splitlines() if not line.startswith("config: ")])


WELL = Said(0, "connected and deciding\n", [])


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path) as mosquitto:
        yield mosquitto


@pytest.fixture
def health(mosquitto: Mosquitto, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Health:
    return Health(workshop(tmp_path, mosquitto.port), capsys)


def with_page(config: Path, page: str) -> None:
    config.write_text(config.read_text().replace('metrics = ""', f'metrics = "{page}"'))


def settled(service: Service) -> None:
    service.log.until("settled")


@pytest.mark.parametrize("page", ["on", "off", "taken", "elsewhere"])
def test_the_scrape_page_has_no_part_in_it(health: Health, mosquitto: Mosquitto, page: str) -> None:
    """On, off, its port taken by somebody else (here the broker), or on an address that this machine does not have."""
    places = {
        "on": f"127.0.0.1:{free_port()}",
        "off": "",
        "taken": f"127.0.0.1:{mosquitto.port}",
        "elsewhere": "192.0.2.7:9464",
    }
    with_page(health.config, places[page])
    with Service(health.config) as service, Person(mosquitto.port, "leerie/service") as person:
        settled(service)
        person.hears("leerie/service", lambda heard: bool(heard.value["running"]))
        assert health() == WELL


def test_nobody_has_ever_run_there(health: Health) -> None:
    assert health() == Said(
        1, "", ["nothing has been heard of a leerie on the topics leerie/…; is `leerie run` running on this broker?"]
    )


def test_a_broker_that_is_not_there(health: Health, mosquitto: Mosquitto) -> None:
    mosquitto.kill()
    code, out, (line,) = health()
    assert (code, out) == (1, "")
    assert line.startswith(f"broker 127.0.0.1:{mosquitto.port}: ")
    assert "refused" in line


class HangsUp(socketserver.BaseRequestHandler):
    """No broker."""


def test_a_port_where_something_else_listens(health: Health, mosquitto: Mosquitto) -> None:
    with socketserver.TCPServer(("127.0.0.1", 0), HangsUp) as other:
        threading.Thread(target=other.serve_forever).start()
        port = other.server_address[1]
        health.config.write_text(health.config.read_text().replace(f"port = {mosquitto.port}", f"port = {port}"))
        code, out, (line,) = health()
        other.shutdown()
    assert (code, out) == (1, "")
    assert line.startswith(f"broker 127.0.0.1:{port}: ")


@pytest.mark.parametrize("kill", [False, True], ids=["stopped", "killed"])
def test_a_daemon_that_is_gone(health: Health, mosquitto: Mosquitto, kill: bool) -> None:
    with Service(health.config) as service, Person(mosquitto.port, "leerie/service") as person:
        settled(service)
        if kill:
            service.process.kill()
        else:
            service.end()
        person.hears("leerie/service", lambda heard: not heard.value["running"])
        assert health() == Said(1, "", ["no leerie runs on the topics leerie/…, or the broker has lost it"])


def test_a_daemon_that_runs_and_has_lost_its_broker(health: Health, mosquitto: Mosquitto) -> None:
    with Service(health.config) as service:
        settled(service)
        mosquitto.kill()
        service.log.until("connection lost")
        code, out, (line,) = health()
    assert (code, out) == (1, "")
    assert line.startswith(f"broker 127.0.0.1:{mosquitto.port}: ")


def test_a_daemon_that_the_broker_has_lost(health: Health, mosquitto: Mosquitto) -> None:
    """It stands still, and after one and a half times `keepalive` the broker speaks its will (MQTT 3.1.2.10)."""
    health.config.write_text(health.config.read_text().replace("[broker]", '[broker]\nkeepalive = "1s"'))
    with Service(health.config) as service, Person(mosquitto.port, "leerie/service") as person:
        settled(service)
        service.process.send_signal(signal.SIGSTOP)
        person.hears("leerie/service", lambda heard: not heard.value["running"])
        assert health() == Said(1, "", ["no leerie runs on the topics leerie/…, or the broker has lost it"])


def test_a_daemon_that_is_connected_and_decides_nothing(health: Health, mosquitto: Mosquitto) -> None:
    """It would renew its card each minute; this one did so last an hour ago."""
    now = time.time_ns() // 1_000
    card = Instance(now - 7_200_000_000, ZoneInfo("Europe/London")).card(now - 3_600_000_000)
    with Person(mosquitto.port) as person:
        person.say("leerie/service", card, retain=True)
    seen = json.loads(card)["seen"]
    assert health() == Said(1, "", [f"leerie on the topics leerie/…: it runs but was last seen at {seen}"])


def test_a_card_that_nobody_understands(health: Health, mosquitto: Mosquitto) -> None:
    with Person(mosquitto.port) as person:
        person.say("leerie/service", "well enough", retain=True)
    assert health() == Said(1, "", ["leerie on the topics leerie/…: what it says about itself is not understood"])
