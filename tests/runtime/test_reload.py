"""SIGHUP: the config is read anew, all of it or nothing, while rooms, holds and sensors go on."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from msgspec.structs import replace

from brokers import Mosquitto, Person, free_port
from core.walker import house
from houses import House, Service, workshop
from leerie.config import ConfigError, load
from leerie.runtime.events import Arrived
from leerie.runtime.metrics import Metrics
from leerie.runtime.reload import ReloadError, difference, read_anew

STATE = "leerie/room/workshop/state"
STAIR = "leerie/room/stair/state"
LAMP = "lamps/bench/do"
ALWAYS = "always = { bench = { level = 0.8, kelvin = 4000 } }"


@contextmanager
def _running(folder: Path, service: str = "") -> Iterator[tuple[Service, Person, Path]]:
    with Mosquitto(folder) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/#") as person:
        config = workshop(folder, mosquitto.port, service=service)
        with Service(config) as running:
            running.log.until("settled")
            yield running, person, config


def _change(config: Path, *pairs: tuple[str, str]) -> None:
    text = config.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    config.write_text(text)


def _without_the_stair(config: Path) -> None:
    text = config.read_text()
    rooms = text.index("[rooms.stair]")
    text = text[:rooms].replace(text[text.index("[fixtures.stair]") : text.index("[rooms.workshop]")], "")
    config.write_text(text)


def test_another_level_holds_at_once_and_who_is_there_is_not_forgotten(tmp_path: Path) -> None:
    with _running(tmp_path) as (service, person, config):
        person.say("workshop/bench/radar", "true")
        person.hears(STATE, lambda heard: bool(heard.value["state"] == "occupied"))
        before = person.hears(STATE, lambda heard: bool(heard.value["fixtures"]["bench"])).value
        mark = person.count
        _change(config, (ALWAYS, "always = { bench = { level = 0.4, kelvin = 3000 } }"))
        service.process.send_signal(signal.SIGHUP)
        line = service.log.until("reloaded")
        assert (line["rooms"], line["changed"]) == (2, ["workshop"])
        after = person.hears(
            STATE, lambda heard: bool(heard.value["fixtures"]["bench"]["level"] == 0.4), after=mark
        ).value
        assert (after["since"], after["occupancy"]) == (before["since"], "occupied")
        told = person.hears(LAMP, lambda heard: bool(heard.value["white"] == 3000), after=mark).value
        assert told["lamp"] is True


def test_a_hold_outlives_it_and_nothing_is_sent_into_it(tmp_path: Path) -> None:
    with _running(tmp_path) as (service, person, config):
        person.say("workshop/bench/radar", "true")
        person.hears(LAMP)
        person.say("leerie/room/workshop/hold", '{"hold": true, "for": "ever"}')
        held = person.hears(STATE, lambda heard: heard.value["hold"] is not None).value["hold"]
        mark = person.count
        _change(config, (ALWAYS, "always = { bench = { level = 0.4, kelvin = 3000 } }"))
        service.process.send_signal(signal.SIGHUP)
        after = person.hears(STATE, lambda heard: heard.value["hold"] is not None, after=mark).value
        assert after["hold"] == held
        person.say("workshop/bench/radar", "false")
        person.hears(STATE, lambda heard: bool(heard.value["occupancy"] == "grace"), after=mark)
        assert person.on(LAMP, mark) == []


def test_a_config_that_is_not_right_is_named_and_changes_nothing(tmp_path: Path) -> None:
    with _running(tmp_path) as (service, person, config):
        _change(config, (ALWAYS, "always = { bench = { level = 8 } }"), ('grace = "40s"', 'graze = "40s"'))
        service.process.send_signal(signal.SIGHUP)
        line = service.log.until("reload refused", lambda line: "graze" in line["why"])
        assert "unknown key" in line["why"]
        service.log.until("reload refused", lambda line: "level" in line["why"])
        mark = person.count
        person.say("workshop/bench/radar", "true")
        view = person.hears(STATE, lambda heard: bool(heard.value["state"] == "occupied"), after=mark).value
        assert view["fixtures"]["bench"]["level"] == 0.8


def test_what_cannot_change_is_refused_by_name(tmp_path: Path) -> None:
    with _running(tmp_path) as (service, _, config):
        _change(
            config,
            ('metrics = ""', f'metrics = "127.0.0.1:{free_port()}"'),
            ("[broker]", '[broker]\nkeepalive = "16s"'),
        )
        service.process.send_signal(signal.SIGHUP)
        for key in ("broker.keepalive", "service.metrics"):
            line = service.log.until("reload refused", lambda line, key=key: line["why"].startswith(key))
            assert line["why"] == f"{key}: cannot change while leerie runs; restart it"
        assert not [line for line in service.log.lines if line["event"] == "reloaded"]


def test_a_room_that_is_gone_leaves_no_topics_and_a_new_one_hears_what_the_broker_kept(tmp_path: Path) -> None:
    with _running(tmp_path, f'state_dir = "{tmp_path / "state"}"') as (service, person, config):
        whole = config.read_text()
        person.hears("leerie/memory/stair")
        mark = person.count
        _without_the_stair(config)
        service.process.send_signal(signal.SIGHUP)
        assert service.log.until("reloaded")["gone"] == ["stair"]
        for topic in (STAIR, "leerie/memory/stair"):
            person.hears(topic, lambda heard: heard.payload == b"", after=mark)
        person.say("stair/pir", "true", retain=True)
        config.write_text(whole)
        mark = person.count
        service.process.send_signal(signal.SIGHUP)
        assert service.log.until("reloaded", lambda line: bool(line["new"]))["new"] == ["stair"]
        person.hears(STAIR, lambda heard: bool(heard.payload and heard.value["occupancy"] == "occupied"), after=mark)


def test_a_lamp_that_is_left_is_told_off_once(tmp_path: Path) -> None:
    with _running(tmp_path) as (service, person, config):
        person.say("workshop/bench/radar", "true")
        person.hears("lamps/sign/do")
        mark = person.count
        text = config.read_text()
        sign = text[text.index("[fixtures.sign]") : text.index("[fixtures.stair]")]
        config.write_text(
            text.replace(sign, "")
            .replace('fixtures = ["bench", "sign"]', 'fixtures = ["bench"]')
            .replace("vacant = { sign = 1 }", "")
        )
        service.process.send_signal(signal.SIGHUP)
        service.log.until("reloaded")
        told = person.hears("lamps/sign/do", after=mark)
        assert told.payload == b"OPEN"
        person.say("leerie/room/workshop/ask", "light")
        person.hears(LAMP, after=mark)
        assert len(person.on("lamps/sign/do", mark)) == 1


def test_a_room_hears_what_was_kept_for_it_even_where_another_has_long_listened(tmp_path: Path) -> None:
    with _running(tmp_path) as (service, person, config):
        person.say("stair/pir", "true", retain=True)
        person.hears(STAIR, lambda heard: bool(heard.value["occupancy"] == "occupied"))
        mark = person.count
        _change(config, ('sensors = ["bench_radar", "button"]', 'sensors = ["bench_radar", "button", "stair_pir"]'))
        service.process.send_signal(signal.SIGHUP)
        person.hears(STATE, lambda heard: bool(heard.value["occupancy"] == "occupied"), after=mark)


@pytest.mark.broker
def test_a_config_that_does_not_suit_the_embedded_broker_does_not_stop_it(tmp_path: Path) -> None:
    config = workshop(tmp_path, free_port())
    with Service(config, "--embedded-broker") as service:
        service.log.until("settled")
        _change(config, ("[broker]", '[broker]\nhost = "elsewhere"'))
        service.process.send_signal(signal.SIGHUP)
        assert "broker.host is elsewhere" in service.log.until("reload refused")["why"]
        assert service.end() == 0


# ---- without a broker ------------------------------------------------------------------------------------------------

ROOM = """
[day_parts.day]
starts = "{starts}"
[sensors.radar]
kind = "presence"
topic = "radar"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$percent"
curve = "{curve}"
[rooms.{room}]
sensors = ["radar"]
fixtures = ["bench"]
scenes = {{ day = {{ bench = 0.8 }} }}
"""
PLAIN = {"starts": "08:00", "curve": "square", "room": "workshop"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({}, ((), (), ())),
        ({"starts": "09:00"}, ((), (), ("workshop",))),
        ({"curve": "linear"}, ((), (), ("workshop",))),
        ({"room": "loft"}, (("loft",), ("workshop",), ())),
    ],
)
def test_what_a_config_changes_is_told_by_rooms(change: dict[str, str], told: tuple[tuple[str, ...], ...]) -> None:
    changes = difference(house(ROOM.format(**PLAIN)), house(ROOM.format(**{**PLAIN, **change})))
    assert (changes.new, changes.gone, changes.changed) == told


def test_all_that_cannot_change_is_named_in_one_go() -> None:
    running = house(ROOM.format(**PLAIN))
    other = replace(
        running,
        broker=replace(running.broker, host="elsewhere", keepalive_s=30),
        service=replace(running.service, state_dir="elsewhere", metrics=None),
    )
    with pytest.raises(ReloadError) as wrong:
        read_anew(lambda: other, running)
    keys = [line.partition(":")[0] for line in str(wrong.value).splitlines()]
    assert keys == ["broker.host", "broker.keepalive", "service.state_dir", "service.metrics"]


def test_a_broken_file_tells_all_that_is_wrong(tmp_path: Path) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text("[site]\nlatitude = 99\n")
    with pytest.raises(ReloadError) as wrong:
        read_anew(lambda: load(path, {}).building, house(ROOM.format(**PLAIN)))
    with pytest.raises(ConfigError) as told:
        load(path, {})
    assert str(wrong.value) == str(told.value)


def test_the_metrics_say_whether_it_worked_and_show_the_new_building() -> None:
    metrics = Metrics(house(ROOM.format(**PLAIN)))
    assert metrics.registry.get_sample_value("leerie_config_reload_ok") == 1
    metrics.reloaded(ok=False)
    assert metrics.registry.get_sample_value("leerie_config_reload_ok") == 0
    metrics.follow(house(ROOM.format(**{**PLAIN, "room": "loft"})))
    metrics.reloaded(ok=True)
    assert metrics.registry.get_sample_value("leerie_config_reload_ok") == 1
    assert metrics.registry.get_sample_value("leerie_room_faults", {"room": "loft"}) == 0
    assert metrics.registry.get_sample_value("leerie_room_faults", {"room": "workshop"}) is None


def test_a_lamp_told_in_the_very_turn_that_takes_it_away(tmp_path: Path) -> None:
    """What the turn has brought before the reload is counted by the config that it came under."""
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#") as person:
        config = workshop(tmp_path, mosquitto.port)
        with House(config, read=lambda: load(config, {}).building) as house:
            daemon = house.daemon
            receive = daemon._deciding.receive

            def and_reload(event: Arrived) -> None:
                receive(event)
                if event.message.topic == "stair/pir":
                    _without_the_stair(config)
                    daemon.reload()

            daemon._deciding.receive = and_reload  # type: ignore[method-assign] # so that both come in one turn
            person.say("stair/pir", "true")
            assert house.log.until("reloaded")["gone"] == ["stair"]
        assert house.code == 0
