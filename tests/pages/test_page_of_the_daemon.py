"""The real daemon's page, beside a real broker: what the rooms are, and that the broker is away."""

from pathlib import Path
from urllib.request import urlopen

import pytest

from brokers import WITHIN_S, Mosquitto, Person, free_port
from houses import House, workshop
from pages.reading import Read

pytestmark = pytest.mark.broker


def look(port: int) -> str:
    with urlopen(f"http://127.0.0.1:{port}/", timeout=WITHIN_S) as answer:
        return Read(answer.read()).words


def test_the_rooms_now_and_then_without_a_broker(tmp_path: Path) -> None:
    port = free_port()
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "leerie/room/#") as person:
        config = workshop(tmp_path, mosquitto.port)
        config.write_text(config.read_text().replace('metrics = ""', f'metrics = "127.0.0.1:{port}"'))
        with House(config) as house:
            person.say("workshop/bench/radar", "present")
            person.hears("leerie/room/workshop/state", lambda heard: bool(heard.value["state"] == "occupied"))
            words = look(port)
            assert "Saltmarket violin workshop" in words
            assert "occupied: bench_radar present since" in words
            assert "bench: level 0.80 (64 % of its light), 4000 K" in words
            assert "Not connected" not in words
            mosquitto.stop()
            house.log.until("connection lost")
            assert "Not connected to the broker" in look(port)
