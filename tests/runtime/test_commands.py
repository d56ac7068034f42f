"""The command line as a user meets it: what it says, where, and how it ends."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import pytest

from brokers import WITHIN_S, Heard, Mosquitto, Person, free_port
from houses import workshop
from leerie import __version__
from leerie.runtime.instance import FAREWELL, Instance

STATE: dict[str, Any] = {
    "state": "occupied", "occupancy": "occupied", "since": "2026-03-02T08:41:07+00:00", "until": None, "hold": None,
    "asked": None, "bias": 0.0, "day_part": "always", "outdoor_lux": 8120, "fixtures": {}, "because": ["occupied: x"],
    "faults": [],
}  # fmt: skip
HOLD = {
    "since": "2026-03-02T09:00:00+00:00",
    "until": None,
    "for": "ever",
    "level": None,
    "kelvin": None,
    "by": "topic",
}


class Done(NamedTuple):
    code: int
    out: str
    err: list[str]
    """Lines, without the one that shows the config's path."""


def _run(*words: str, folder: Path, **environ: str) -> subprocess.CompletedProcess[str]:
    ran = subprocess.run(
        [sys.executable, "-m", "leerie", *words],
        cwd=folder,
        env={**os.environ, **environ},
        capture_output=True,
        text=True,
        timeout=6 * WITHIN_S,
        check=False,
    )
    assert "Traceback" not in ran.stderr
    return ran


def leerie(*words: str, folder: Path, **environ: str) -> Done:
    """Run the command in this folder."""
    ran = _run(*words, folder=folder, **environ)
    return Done(
        ran.returncode, ran.stdout, [line for line in ran.stderr.splitlines() if not line.startswith("config: ")]
    )


class Daemon:
    """Stands in for one: answers each wish for the workshop with the states it has been given."""

    def __init__(self, person: Person, *answers: dict[str, Any]) -> None:
        self._person = person
        self._answers = [json.dumps(STATE | answer) for answer in answers]
        self.wishes: list[Heard] = []
        person.on_heard = self._answer

    def _answer(self, heard: Heard) -> None:
        self.wishes.append(heard)
        for answer in self._answers:
            self._person.say("leerie/room/workshop/state", answer, retain=True, wait=False)


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path) as broker:
        workshop(tmp_path, broker.port)
        yield broker


@pytest.fixture
def person(mosquitto: Mosquitto) -> Iterator[Person]:
    with Person(mosquitto.port, "leerie/room/+/hold", "leerie/room/+/ask", "leerie/room/+/bias") as somebody:
        yield somebody


def test_the_version_costs_neither_pydantic_nor_paho(tmp_path: Path) -> None:
    """Whoever asks for the version or for help waits for none of it."""
    look = "import sys; from leerie.cli.main import main\ntry: main(['--version'])\nexcept SystemExit: pass\n" + (
        "print([name for name in ('pydantic', 'paho', 'structlog', 'astral', 'msgspec') if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", look], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines() == [f"leerie {__version__}", "[]"]


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("dance",),
        ("hold",),
        ("run", "--fast"),
    ],
)
def test_wrong_usage_is_2_and_says_what_is_allowed(words: tuple[str, ...], tmp_path: Path) -> None:
    done = leerie(*words, folder=tmp_path)
    assert done.code == 2
    assert done.out == ""
    assert "usage: leerie" in done.err[0]


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("hold", "hall", "fly"), 'start|end|toggle: "fly" is not allowed; allowed: start, end, toggle'),
        (
            ("hold", "hall", "stat"),
            'start|end|toggle: "stat" is not allowed; allowed: start, end, toggle; did you mean start?',
        ),
        (("ask", "hall", "lihgt"), 'light|dark: "lihgt" is not allowed; allowed: light, dark; did you mean light?'),
        (("bias", "hall", "much"), 'X: "much" is not allowed; allowed: a number from -0.9 to 1'),
        (("bias", "hall", "nan"), 'X: "nan" is not allowed; allowed: a number from -0.9 to 1'),
        (("hold", "hall", "start", "--level", "abc"), '--level: "abc" is not allowed; allowed: a number from 0 to 1'),
        (("hold", "hall", "start", "--level", "inf"), '--level: "inf" is not allowed; allowed: a number from 0 to 1'),
        (("hold", "hall", "start", "--level", "nan"), '--level: "nan" is not allowed; allowed: a number from 0 to 1'),
        (
            ("hold", "hall", "START", "--level", "1", "--kelvin", "warm"),
            '--kelvin: "warm" is not allowed; allowed: a number from 1000 to 20000',
        ),
    ],
)
def test_a_word_or_number_that_is_not_allowed_is_told_in_one_line(
    words: tuple[str, ...], line: str, tmp_path: Path
) -> None:
    assert leerie(*words, folder=tmp_path) == (2, "", [line])


def test_all_that_is_wrong_is_told_at_once(tmp_path: Path) -> None:
    done = leerie("hold", "hall", "stop", "--level", "2", "--kelvin", "3", folder=tmp_path)
    assert [line.partition(":")[0] for line in done.err] == ["start|end|toggle", "--level", "--kelvin"]


def test_a_command_that_is_misspelt(tmp_path: Path) -> None:
    done = leerie("chek", folder=tmp_path)
    known = "run, check, demo, explain, hold, ask, bias, health"
    assert (done.code, done.out) == (2, "")
    assert done.err[-1] == f'leerie: error: unknown command "chek"; known: {known}; did you mean check?'


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("hold", "workshp", "start"), 'unknown room "workshp"; known: workshop, stair; did you mean workshop?'),
        (("hold", "workshop", "end", "--level", "0.5"), "hold end takes no --level"),
        (("hold", "workshop", "start", "--kelvin", "3000"), "level"),
        (("hold", "workshop", "start", "--level", "1.5"), "1.5"),
        (("hold", "workshop", "start", "--for", "90"), "90"),
        (("bias", "workshop", "2"), "2"),
        (("bias", "workshop", "-0.1", "--for", "0s"), "0s"),
    ],
)
def test_a_wish_that_leerie_would_refuse_is_wrong_usage(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    workshop(tmp_path, 1)
    done = leerie(*words, folder=tmp_path)
    assert (done.code, done.out) == (2, "")
    assert len(done.err) == 1
    assert said in done.err[0]


@pytest.mark.parametrize("words", [("run",), ("ask", "workshop", "light")])
def test_a_bad_config_is_1_with_one_line_a_problem(words: tuple[str, ...], tmp_path: Path) -> None:
    path = workshop(tmp_path, 70_000, service='colour = "blue"')
    done = leerie(*words, "--config", str(path), folder=tmp_path)
    assert done.code == 1
    assert len(done.err) == 2
    assert all(line.startswith(f"{path}:") for line in done.err)


def test_a_path_that_would_break_the_line_is_shown_as_one(tmp_path: Path) -> None:
    for words in (("check",), ("health",)):
        ran = _run(*words, "--config", "a\nb\x1b[31m", folder=tmp_path)
        first, second = ran.stderr.splitlines()
        assert first == r"config: a\nb\x1b[31m"
        assert second.startswith(r"a\nb\x1b[31m: cannot be read")


def test_the_config_in_use_is_shown(tmp_path: Path) -> None:
    """The option, else the variable, else the folder one is in."""
    for words, environ, shown in [
        (("--config", "one.toml"), {"LEERIE_CONFIG": "two.toml"}, "one.toml"),
        ((), {"LEERIE_CONFIG": "two.toml"}, "two.toml"),
        ((), {"LEERIE_CONFIG": ""}, "leerie.toml"),
    ]:
        ran = subprocess.run(
            [sys.executable, "-m", "leerie", "run", *words],
            cwd=tmp_path, env={**os.environ, **environ}, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert ran.returncode == 1
        assert ran.stderr.splitlines()[0] == f"config: {shown}"
        assert shown in ran.stderr.splitlines()[1]


def test_a_port_that_is_taken(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        workshop(tmp_path, port)
        done = leerie("run", "--embedded-broker", folder=tmp_path)
    assert (done.code, done.out) == (1, "")
    assert done.err == [f"no embedded broker at 127.0.0.1:{port}: port {port} is in use"]


@pytest.mark.broker
@pytest.mark.usefixtures("mosquitto")
def test_where_no_daemon_answers_it_is_1(tmp_path: Path) -> None:
    done = leerie("ask", "workshop", "light", folder=tmp_path)
    assert (done.code, done.out) == (1, "")
    assert done.err == ["workshop: no leerie answers within 3 s; is `leerie run` running on this broker?"]


@pytest.mark.broker
def test_a_state_that_the_broker_kept_is_no_answer(person: Person, tmp_path: Path) -> None:
    person.say("leerie/room/workshop/state", json.dumps(STATE | {"asked": "light"}), retain=True)
    assert leerie("ask", "workshop", "light", folder=tmp_path).code == 1


@pytest.mark.broker
def test_where_no_broker_answers_it_is_1(tmp_path: Path) -> None:
    port = free_port()
    workshop(tmp_path, port)
    done = leerie("ask", "workshop", "light", folder=tmp_path)
    assert (done.code, done.out) == (1, "")
    assert done.err == [f"broker 127.0.0.1:{port}: connection refused"]


@pytest.mark.broker
@pytest.mark.parametrize(
    ("words", "topic", "payload", "answer"),
    [
        (("ask", "workshop", "light"), "ask", "light", {"asked": "light"}),
        (("ask", "workshop", "dark"), "ask", "dark", {"asked": "dark"}),
        (("bias", "workshop", "-0.15"), "bias", -0.15, {"bias": -0.15}),
        (("bias", "workshop", "0.2", "--for", "vacant"), "bias", {"bias": 0.2, "for": "vacant"}, {"bias": 0.2}),
        (("hold", "workshop", "start"), "hold", "start", {"hold": HOLD}),
        (("hold", "workshop", "end"), "hold", "end", {}),
        (("hold", "workshop", "toggle"), "hold", "toggle", {"hold": HOLD}),
        (
            ("hold", "workshop", "start", "--for", "90m", "--level", "0.4", "--kelvin", "2700"),
            "hold",
            {"hold": True, "for": "90m", "level": 0.4, "kelvin": 2700},
            {"hold": HOLD},
        ),
    ],
)
def test_a_wish_is_published_and_its_answer_shown(
    person: Person, tmp_path: Path, words: tuple[str, ...], topic: str, payload: Any, answer: dict[str, Any]
) -> None:
    person.say("leerie/room/workshop/state", json.dumps(STATE), retain=True)
    daemon = Daemon(person, answer)
    done = leerie(*words, folder=tmp_path)
    assert (done.code, done.err) == (0, [])
    bias = {-0.15: ", bias −0.15", 0.2: ", bias +0.20"}.get(answer.get("bias", 0), "")
    assert done.out == f"workshop: occupied{bias}\n  occupied: x\n"
    (heard,) = daemon.wishes
    assert heard.topic == f"leerie/room/workshop/{topic}"
    assert (heard.payload.decode() if isinstance(payload, str) else heard.value) == payload
    assert not heard.retained
    again = leerie(*words, "--json", folder=tmp_path) if topic != "hold" else None
    assert again is None or json.loads(again.out) == STATE | answer


@pytest.mark.broker
def test_health_is_0_for_a_daemon_that_was_just_seen_and_1_for_any_other(person: Person, tmp_path: Path) -> None:
    assert leerie("health", folder=tmp_path) == (
        1,
        "",
        ["nothing has been heard of a leerie on the topics leerie/…; is `leerie run` running on this broker?"],
    )
    daemon = Instance(time.time_ns() // 1_000, ZoneInfo("Europe/London"))
    person.say("leerie/service", daemon.card(time.time_ns() // 1_000), retain=True)
    assert leerie("health", folder=tmp_path) == (0, "connected and deciding\n", [])
    person.say("leerie/service", FAREWELL, retain=True)
    stopped = "no leerie runs on the topics leerie/…, or the broker has lost it"
    assert leerie("health", folder=tmp_path) == (1, "", [stopped])


@pytest.mark.broker
def test_a_room_that_the_running_leerie_does_not_know(person: Person, tmp_path: Path) -> None:
    daemon = Instance(time.time_ns() // 1_000, ZoneInfo("Europe/London"))
    person.say("leerie/service", daemon.card(time.time_ns() // 1_000), retain=True)
    line = "leerie runs, but does not know the room workshop: has it been restarted since the config changed?"
    assert leerie("ask", "workshop", "light", folder=tmp_path) == (1, "", [line])
    person.say("leerie/sky", "{}", retain=True)
    assert leerie("explain", "workshop", folder=tmp_path) == (1, "", [line])


@pytest.mark.broker
@pytest.mark.parametrize(
    ("lasts", "told"),
    [("vacant", "until vacant"), ("day_part", "until the next day part"), ("ever", "for ever")],
)
def test_how_long_a_hold_lasts_is_told(person: Person, tmp_path: Path, lasts: str, told: str) -> None:
    Daemon(person, {"state": "hold", "hold": HOLD | {"for": lasts}})
    done = leerie("hold", "workshop", "Start", "--for", lasts, folder=tmp_path)
    assert done.out == f"workshop: hold {told}\n  occupied: x\n"


@pytest.mark.broker
def test_a_bias_is_told_in_the_dark_too(person: Person, tmp_path: Path) -> None:
    Daemon(person, {"state": "vacant", "because": []})
    assert leerie("bias", "workshop", "0", folder=tmp_path).out == "workshop: vacant, no bias\n"


@pytest.mark.broker
def test_an_answer_is_as_wide_as_the_terminal(person: Person, tmp_path: Path) -> None:
    Daemon(person, {"asked": "light", "because": ["word " * 30]})
    for columns, widest in (("40", 40), ("500", 80)):
        done = leerie("ask", "workshop", "light", folder=tmp_path, COLUMNS=columns)
        assert widest - 5 < max(map(len, done.out.splitlines())) <= widest


@pytest.mark.broker
def test_another_states_coming_between_is_no_answer(person: Person, tmp_path: Path) -> None:
    Daemon(person, {"state": "grace"}, {"state": "occupied", "asked": "light"})
    done = leerie("ask", "workshop", "light", folder=tmp_path)
    assert (done.code, done.out.splitlines()[0]) == (0, "workshop: occupied")


@pytest.mark.broker
def test_a_refusal_is_1_and_says_why(person: Person, tmp_path: Path) -> None:
    fault = {"code": "message_refused", "what": "workshop", "since": STATE["since"], "text": "workshop ask: not today"}
    Daemon(person, {"faults": [fault]})
    done = leerie("ask", "workshop", "light", folder=tmp_path)
    assert (done.code, done.out) == (1, "")
    assert done.err == [
        "workshop: leerie answers, but did not do it: the room is occupied",
        "workshop: workshop ask: not today",
    ]
