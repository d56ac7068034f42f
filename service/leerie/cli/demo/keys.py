"""The keys of the demo, and what each of them does."""

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import NamedTuple

from blessed import Terminal

from leerie.cli.demo.backstage import Backstage
from leerie.cli.demo.stage import Stage
from leerie.rehearsal.speech import button_says

LOOK_S = 0.1
"""How often a keyboard that nobody touches looks whether it is all over."""


class Key(NamedTuple):
    key: str
    """As one presses it."""
    does: str
    """As short as the foot of the screen wants it."""


KEYS = (
    Key("↑↓", "choose a room"),
    Key("h", "hold"),
    Key("l", "light"),
    Key("d", "dark"),
    Key("p", "press its button"),
    Key("c", "cloud over"),
    Key("x", "cut the broker"),
    Key("k", "kill leerie"),
    Key("q", "end"),
)


class Hands:
    """A person at the keys."""

    def __init__(self, stage: Stage, backstage: Backstage, end: Callable[[], None]) -> None:
        self._stage = stage
        self._backstage = backstage
        self._deeds: dict[str, Callable[[], None]] = {
            "KEY_UP": lambda: self._choose(-1),
            "KEY_DOWN": lambda: self._choose(1),
            "h": lambda: self._wish("hold", "toggle"),
            "l": lambda: self._wish("ask", "light"),
            "d": lambda: self._wish("ask", "dark"),
            "p": self._press,
            "c": self._cloud,
            "x": self._broker,
            "k": self._daemon,
            "q": end,
        }

    def press(self, key: str) -> None:
        """A key by its character, or by its name such as KEY_UP; one that does nothing does nothing."""
        deed = self._deeds.get(key)
        if deed is not None:
            deed()

    def _choose(self, step: int) -> None:
        rooms = list(self._stage.building.rooms)
        self._stage.chosen = rooms[(rooms.index(self._stage.chosen) + step) % len(rooms)]

    def _wish(self, topic: str, word: str) -> None:
        room = self._stage.chosen
        self._stage.publish(f"{self._stage.building.broker.topics}/room/{room}/{topic}", word.encode())
        self._stage.tell(f"{room}: {topic} {word}")

    def _press(self) -> None:
        stage = self._stage
        room = stage.building.rooms[stage.chosen]
        buttons = [sensor for name in room.sensors if (sensor := stage.building.sensors[name]).kind == "button"]
        if not buttons:
            stage.tell(f"{room.name} has no button")
            return
        value, deed = next(iter(buttons[0].does.items()))
        stage.publish(buttons[0].topic, button_says(buttons[0], value))
        stage.tell(f"{room.name}: {buttons[0].name} pressed {value}, which is {deed}")

    def _cloud(self) -> None:
        self._stage.draw_cloud(over=not self._stage.overcast)
        self._stage.tell("a cloud comes over" if self._stage.overcast else "the cloud is gone")

    def _broker(self) -> None:
        stage = self._stage
        if stage.broker_up:
            stage.broker_up = False
            self._backstage.cut()
            stage.tell("the broker is cut; what sensors say meanwhile is lost")
        else:
            self._backstage.mend()
            stage.broker_up = True
            stage.tell("the broker is back; it has forgotten everything")

    def _daemon(self) -> None:
        stage = self._stage
        if stage.daemon_up:
            stage.daemon_up = False
            self._backstage.kill()
            stage.tell("leerie is killed, without a farewell")
        else:
            self._backstage.start()
            stage.daemon_up = True
            stage.tell("leerie starts again, from what it wrote down")


@contextmanager
def reading(hands: Hands, over: threading.Event) -> Iterator[None]:
    """Keys reach the hands, in a thread of its own, until it is over."""
    terminal = Terminal()

    def read() -> None:
        while not over.is_set():
            stroke = terminal.inkey(timeout=LOOK_S)
            if stroke:
                hands.press(stroke.name or stroke.lower())

    with terminal.cbreak(), ThreadPoolExecutor(1) as threads:
        keys = threads.submit(read)
        keys.add_done_callback(lambda _: over.set())
        try:
            yield
        finally:
            over.set()
    keys.result()
