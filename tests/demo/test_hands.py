"""What somebody at the demo's keys can do, without a broker and on a real one."""

import os
import pty
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from leerie.cli.demo.backstage import Backstage
from leerie.cli.demo.keys import KEYS, Hands
from leerie.cli.demo.stage import Stage
from leerie.config.building import Building
from leerie.runtime.clock import Clock

LEERIE = Path(sys.executable).with_name("leerie")
EIGHT_OCLOCK = 1_768_204_800_000_000
"""2026-01-12 08:00 UTC, a Monday."""
PATIENCE_S = 30


class Deaf(Stage):
    """A stage that is not connected; it keeps what would have been said."""

    def __init__(self, building: Building) -> None:
        super().__init__(building, Clock(0.0001, EIGHT_OCLOCK), seed=1)
        self.said: list[tuple[str, bytes]] = []

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:  # noqa: ARG002 -- the stage's
        self.said.append((topic, payload))


class Still:
    """Backstage, where nothing is."""

    def __init__(self) -> None:
        self.done: list[str] = []

    def __getattr__(self, name: str) -> Callable[[], None]:
        return lambda: self.done.append(name)


@pytest.fixture
def stage(example: Building) -> Deaf:
    return Deaf(example)


@pytest.fixture
def still() -> Still:
    return Still()


@pytest.fixture
def over() -> threading.Event:
    return threading.Event()


@pytest.fixture
def hands(stage: Deaf, still: Still, over: threading.Event) -> Hands:
    return Hands(stage, still, over.set)  # type: ignore[arg-type]  # it has all that the hands reach for


@pytest.mark.parametrize(
    ("key", "topic", "word"), [("h", "hold", b"toggle"), ("l", "ask", b"light"), ("d", "ask", b"dark")]
)
def test_a_wish_goes_to_the_chosen_room(stage: Deaf, hands: Hands, key: str, topic: str, word: bytes) -> None:
    hands.press("KEY_DOWN")
    hands.press(key)
    second = list(stage.building.rooms)[1]
    assert stage.said == [(f"leerie/room/{second}/{topic}", word)]
    assert second in stage.happened[-1].text


def test_the_arrows_go_round(stage: Deaf, hands: Hands) -> None:
    rooms = list(stage.building.rooms)
    hands.press("KEY_UP")
    assert stage.chosen == rooms[-1]
    hands.press("KEY_DOWN")
    assert stage.chosen == rooms[0]


def test_a_button_is_pressed_where_there_is_one(stage: Deaf, hands: Hands) -> None:
    for room in stage.building.rooms.values():
        buttons = [name for name in room.sensors if stage.building.sensors[name].kind == "button"]
        stage.chosen = room.name
        stage.said.clear()
        hands.press("p")
        assert [topic for topic, _ in stage.said] == [stage.building.sensors[name].topic for name in buttons[:1]]
        assert buttons or "no button" in stage.happened[-1].text


def test_a_cloud_covers_the_sky_and_goes(stage: Deaf, hands: Hands) -> None:
    cloud = stage.building.daylight.cloud
    assert cloud is not None
    hands.press("c")
    overcast = dict(stage.said)[cloud.topic]
    hands.press("c")
    assert not stage.overcast
    assert b"100" in overcast
    assert b"100" not in dict(stage.said[1:])[cloud.topic]


def test_broker_and_daemon_go_and_come_back(stage: Deaf, hands: Hands, still: Still) -> None:
    for key in "xkkx":
        hands.press(key)
    assert still.done == ["cut", "kill", "start", "mend"]
    assert stage.broker_up
    assert stage.daemon_up


def test_q_ends_it_and_other_keys_do_nothing(stage: Deaf, hands: Hands, still: Still, over: threading.Event) -> None:
    for key in ("z", "KEY_F1", " ", "é", "\x1b"):
        hands.press(key)
    assert not over.is_set()
    assert not stage.said
    assert not stage.happened
    assert not still.done
    hands.press("q")
    assert over.is_set()


def test_each_key_that_is_named_does_something(hands: Hands) -> None:
    known = hands._deeds
    assert [key for key, _ in KEYS if key not in known and key != "↑↓"] == []


# ---- on a real broker, with the real daemon --------------------------------------------------------------------------


class Played:
    """A demo without a screen; waits for what is published of a room."""

    def __init__(self, stage: Stage, hands: Hands) -> None:
        self.stage, self.hands = stage, hands
        self._heard: queue.SimpleQueue[tuple[str, Any]] = queue.SimpleQueue()
        stage.heard = lambda room: self._heard.put((room, stage.rooms[room]))

    def until(self, room: str, fits: Callable[[Any], bool]) -> Any:
        while True:
            name, state = self._heard.get(timeout=PATIENCE_S)
            if name == room and fits(state):
                return state

    def forget(self) -> None:
        while not self._heard.empty():
            self._heard.get()


@pytest.fixture
def played(example: Building) -> Iterator[Played]:
    """At eight in the morning, a second being twenty."""
    over = threading.Event()
    with Backstage(example, 20, EIGHT_OCLOCK) as backstage:
        stage = Stage(backstage.building, backstage.clock, seed=1)
        played = Played(stage, Hands(stage, backstage, over.set))
        playing = threading.Thread(target=stage.play, args=(over.is_set, None))
        playing.start()
        try:
            yield played
        finally:
            over.set()
            playing.join()


@pytest.mark.broker
def test_a_killed_daemon_comes_back_to_the_hold_it_left(played: Played) -> None:
    played.until("workshop", lambda state: state["hold"] is None)
    played.hands.press("h")
    held = played.until("workshop", lambda state: state["hold"] is not None)
    played.hands.press("k")
    played.forget()
    played.hands.press("k")
    again = played.until("workshop", lambda _: True)
    assert again["hold"] == held["hold"]
    played.hands.press("h")
    played.until("workshop", lambda state: state["hold"] is None)


@pytest.mark.broker
def test_a_broker_that_comes_back_without_memory_has_the_rooms_again(played: Played) -> None:
    played.until("workshop", lambda state: state["hold"] is None)
    played.hands.press("h")
    held = played.until("workshop", lambda state: state["hold"] is not None)
    played.hands.press("x")
    assert not played.stage.broker_up
    played.stage.rooms.clear()
    played.forget()
    played.hands.press("x")
    assert played.until("workshop", lambda _: True)["hold"] == held["hold"]


@contextmanager
def _on_a_terminal(folder: Path, *options: str) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    master, slave = pty.openpty()
    environ = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "100", "LINES": "30"}
    process = subprocess.Popen(
        [LEERIE, "demo", *options], cwd=folder, stdin=slave, stdout=slave, stderr=subprocess.PIPE, env=environ
    )
    os.close(slave)
    try:
        yield process, master
    finally:
        process.kill()
        process.communicate()
        os.close(master)


def _read_until(terminal: int, word: bytes) -> bytes:
    shown = b""
    while word not in shown:
        shown += os.read(terminal, 65_536)
    return shown


@pytest.mark.broker
def test_keys_reach_it_through_the_terminal(tmp_path: Path) -> None:
    with _on_a_terminal(tmp_path) as (process, terminal):
        _read_until(terminal, b"vacant")
        os.write(terminal, b"\x1b[B\x1b[A" + b"h")
        _read_until(terminal, b"hold toggle")
        os.write(terminal, b"q")
        _read_until(terminal, b"every one understood")
        assert process.wait(timeout=PATIENCE_S) == 0
        assert process.stderr is not None
        assert process.stderr.read() == b"config: the example that comes with leerie\n"


def test_the_buildings_own_broker_folder_and_page_are_left_alone(example: Building) -> None:
    backstage = Backstage(example, 1, EIGHT_OCLOCK)
    service = backstage.building.service
    assert backstage.building.broker.host == "127.0.0.1"
    assert backstage.building.broker.port != example.broker.port
    assert service.state_dir != example.service.state_dir
    assert service.metrics is not None
    assert backstage.page == f"http://127.0.0.1:{service.metrics[1]}/"
    backstage._folder.cleanup()
