"""What the daemon's journal tells, played again, is what the broker heard."""

import signal
from pathlib import Path

import pytest

from brokers import Mosquitto, Person
from houses import Service, workshop
from leerie.config import load
from leerie.journal import Reader, Stretch
from leerie.rehearsal.replay import replay

pytestmark = pytest.mark.broker

STATE = "leerie/room/workshop/state"
LAMPS = ("lamps/bench/do", "lamps/sign/do", "lamps/stair/do")


@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGKILL])
def test_a_replay_commands_what_the_broker_heard(tmp_path: Path, end: signal.Signals) -> None:
    """Over a restart, and over another config."""
    state = tmp_path / "state"
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/#") as person:
        config = workshop(tmp_path, mosquitto.port, service=f'state_dir = "{state}"')
        first = load(config, {}).building
        with Service(config) as service:
            service.log.until("settled")
            person.say("workshop/bench/radar", "true")
            person.hears(LAMPS[0])
            config.write_text(config.read_text().replace("level = 0.8", "level = 0.6"))
            second = load(config, {}).building
            service.process.send_signal(signal.SIGHUP)
            service.log.until("reloaded")
            person.say("leerie/room/workshop/hold", '{"hold": true, "level": 0.3}')
            person.hears(STATE, lambda heard: bool(heard.value["state"] == "hold"))
            service.end(signal.SIGTERM)
        with Service(config) as service:
            service.log.until("settled")
            mark = person.count
            person.say("stair/pir", "true")
            person.hears(LAMPS[2], after=mark)
            person.hears("leerie/room/stair/state", lambda heard: bool(heard.value["state"] != "vacant"), after=mark)
            service.end(end)
        heard = [(each.topic, each.payload) for each in person.heard if each.topic in LAMPS]
    steps = list(replay((entry for _, entry in Reader(state).entries()), first, second))
    commanded = [(publish.topic, publish.payload) for step in steps for publish in step.outcome.commands]
    begun = [step.entry.why for step in steps if isinstance(step.entry, Stretch)]
    assert all(step.exact for step in steps)
    if end == signal.SIGTERM:
        assert begun == ["start", "reload", "start"]
        assert commanded == heard
    else:
        assert begun[:2] == ["start", "reload"]
        assert commanded == heard[: len(commanded)], "a kill takes the last second with it"
