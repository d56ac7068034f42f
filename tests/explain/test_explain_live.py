"""What is, from what a real daemon keeps at a real broker."""

import json
from pathlib import Path
from typing import Any

import pytest

from brokers import Mosquitto, Person, free_port
from houses import Service, workshop
from leerie.cli.main import main

pytestmark = pytest.mark.broker

LAMP, STATE, SKY = "lamps/bench/do", "leerie/room/workshop/state", "leerie/sky"


def test_a_running_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/#") as person:
        config = workshop(tmp_path, mosquitto.port)
        with Service(config) as service:
            service.log.until("settled")
            person.say("workshop/bench/radar", "true")
            sent = person.hears(LAMP, lambda heard: bool(heard.value["lamp"])).payload.decode()
            person.hears(SKY)
            state = person.hears(
                STATE, lambda heard: bool(heard.value["state"] == "occupied" and heard.value["fixtures"]["bench"])
            ).value
            assert main(["explain", "workshop", "--json", "--config", str(config)]) == 0
            live = json.loads(capsys.readouterr().out)
            assert {"topic": LAMP, "payload": sent} in live["commands"]
            assert live["room"]["fixtures"] == state["fixtures"]

            assert main(["explain", "workshop", "--config", str(config)]) == 0
            text = " ".join(capsys.readouterr().out.split())
            assert text.startswith("workshop: ")
            assert "bench_radar present since" in text
            assert f"{LAMP} ← {sent}" in text

            assert main(["explain", "workshop", "--json", "--state", "occupied", "--config", str(config)]) == 0
            supposed = json.loads(capsys.readouterr().out)
            assert [list(supposed[key]) for key in ("sky", "room")] == [list(live[key]) for key in ("sky", "room")]
            assert supposed["commands"] == live["commands"]
            service.end()

        person.hears("leerie/service", lambda heard: heard.value == {"running": False})
        assert main(["explain", "workshop", "--config", str(config)]) == 1
        said = capsys.readouterr()
        assert (said.out, said.err.count("\n")) == ("", 2)
        assert "no leerie answers within 3 s" in said.err


@pytest.mark.parametrize(
    ("state", "line"),
    [
        ({"state": 3}, "not from a leerie of this version"),
        ({"fixtures": {"lantern": {"on": True, "level": 1, "kelvin": None}}}, "has another config than this one"),
        ({"fixtures": {"bench": {"on": True, "level": 7, "kelvin": 3000}}}, "has another config than this one"),
    ],
)
def test_what_is_kept_there_is_not_believed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], state: dict[str, Any], line: str
) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port) as person:
        keep(person, state)
        assert main(["explain", "workshop", "--config", str(workshop(tmp_path, mosquitto.port))]) == 1
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 2)
    assert line in said.err


def test_a_room_in_which_hands_are_off_and_something_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port) as person:
        keep(person, {"state": "hold", "because": ["held by message since 09:00: hands off"]})
        assert main(["explain", "workshop", "--config", str(workshop(tmp_path, mosquitto.port))]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "workshop: hold",
        "  held by message since 09:00: hands off",
        "  fault: bench_radar silent for 26 h",
    ]


def test_no_broker(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", "workshop", "--config", str(workshop(tmp_path, free_port()))]) == 1
    assert "connection refused" in capsys.readouterr().err


def keep(person: Person, state: dict[str, Any]) -> None:
    """Leave words at the broker as a running daemon's."""
    usual = {
        "state": "occupied", "until": None, "fixtures": None, "because": [],
        "faults": [{"text": "bench_radar silent for 26 h"}],
    }  # fmt: skip
    person.say("leerie/service", '{"running": true}', retain=True)
    person.say(SKY, "{}", retain=True)
    person.say(STATE, json.dumps(usual | state), retain=True)
