"""The page of a house in use, held against Prometheus' own tool: names, types, units and help texts as it wants them.

`promtool check metrics` of Prometheus 2.42 and newer (Debian 12: package prometheus).
"""

import subprocess
from collections.abc import Iterator
from pathlib import Path
from urllib.request import Request, urlopen

import pytest

from brokers import WITHIN_S, Mosquitto, Person, free_port, real_part
from houses import House

pytestmark = pytest.mark.broker
EXAMPLE = Path(__file__).parents[2] / "config.example.toml"
MONDAY_NOON = 1_772_452_800_000_000
"""2 March 2026, 12:00 UTC."""

BIAS = 0.1
EVENTS = (
    ("workshop/pir", "motion"),
    ("varnish/radar", '{"signal": {"strength": 0.7}}'),
    ("leerie/room/workshop/hold", "start"),
    ("leerie/room/workshop/hold", "perhaps"),
    ("leerie/room/workshop/hold", "end"),
    ("leerie/room/workshop/bias", str(BIAS)),
)


def check(page: bytes) -> tuple[int, str]:
    """Exit code and every word of `promtool check metrics`."""
    done = subprocess.run(
        [real_part("promtool"), "check", "metrics"], input=page, capture_output=True, timeout=WITHIN_S, check=False
    )
    return done.returncode, (done.stdout + done.stderr).decode()


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[list[bytes]]:
    """The example's page before anything has happened in it, and after presence, a hold and a refusal."""
    port = free_port()
    config = tmp_path / "leerie.toml"
    with Mosquitto(tmp_path) as mosquitto:
        text = EXAMPLE.read_text(encoding="utf-8")
        text = text.replace("# port = 1883", f"port = {mosquitto.port}")
        config.write_text(text.replace('# metrics = "127.0.0.1:9464"', f'metrics = "127.0.0.1:{port}"'))
        with Person(mosquitto.port, "leerie/room/#") as person, House(config, start=MONDAY_NOON):
            found = [scrape(port)]
            for topic, payload in EVENTS:
                person.say(topic, payload)
            # The last of them is heard when all before it have been counted.
            person.hears("leerie/room/workshop/state", lambda heard: bool(heard.value["bias"] == BIAS))
            yield [*found, scrape(port)]


def scrape(port: int, accept: str = "*/*") -> bytes:
    with urlopen(Request(f"http://127.0.0.1:{port}/metrics", headers={"Accept": accept}), timeout=WITHIN_S) as answer:
        page: bytes = answer.read()
        return page


def test_promtool_has_nothing_to_say(pages: list[bytes]) -> None:
    for page in pages:
        assert check(page) == (0, "")


def test_the_page_that_it_saw_was_a_full_one(pages: list[bytes]) -> None:
    first, last = (page.decode() for page in pages)
    assert 'leerie_messages_received_total{kind="motion"} 0.0' in first
    for line in (
        'leerie_messages_received_total{kind="motion"} 1.0',
        'leerie_messages_received_total{kind="hold"} 2.0',
        'leerie_messages_refused_total{reason="unknown_word",source="workshop/hold"} 1.0',
        'leerie_sensor_present{sensor="varnish_radar"} 1.0',
        'leerie_hold_active{room="workshop"} 0.0',
    ):
        assert line in last.splitlines()


@pytest.mark.parametrize(
    "page",
    [
        b"# TYPE leerie_things counter\nleerie_things 1\n",
        b"# HELP leerie_time_ms Time.\n# TYPE leerie_time_ms gauge\nleerie_time_ms 1\n",
        b"leerie_room_state{room=} 1\n",
    ],
    ids=["no total and no help", "unit", "syntax"],
)
def test_promtool_would_say_so(page: bytes) -> None:
    code, words = check(page)
    assert code != 0
    assert words
