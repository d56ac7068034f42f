"""The real controller walked through time by hand, and what it told each lamp and when."""

import tempfile
from datetime import datetime
from functools import cache
from pathlib import Path

from leerie.config import load
from leerie.config.building import Building
from leerie.config.durations import parse
from leerie.controller import Controller
from leerie.messages import Message, Outcome, Publish
from leerie.notes import Commanded, Note
from leerie.now import Now
from leerie.reasons import LampReason
from leerie.views import RoomView

SITE = """
[site]
latitude = {latitude}
longitude = {longitude}
timezone = "{timezone}"
"""
START_MS = 5_000_000
MOST_ADVANCES = 20_000
"""More than any stretch here needs; a controller that always wants more is a bug, and stops."""


@cache
def house(
    text: str, latitude: float = 55.8569, longitude: float = -4.2448, timezone: str = "Europe/London"
) -> Building:
    """The building that this TOML (less its site) describes."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "leerie.toml"
        path.write_text(SITE.format(latitude=latitude, longitude=longitude, timezone=timezone) + text)
        return load(path, {}).building


def instant(wall: str, steady: int = START_MS) -> Now:
    """`wall`: RFC 3339 with its offset."""
    return Now(steady, round(datetime.fromisoformat(wall).timestamp() * 1e6))


class Walker:
    """A controller, the clock it is shown and the broker that it thinks it has."""

    def __init__(
        self,
        building: Building,
        memory: dict[str, bytes] | None = None,
        now: Now | None = None,
        *,
        boot: str = "one boot",
        answers: bool = True,
        kept: dict[str, str] | None = None,
    ) -> None:
        """`kept`: retained messages, topic → payload; `answers`: the broker acknowledges each publish at once; else
        they pile up in `flying`.
        """
        self.now = now or instant("2026-03-02T09:00:00+00:00")
        self.building = building
        self.answers = answers
        self.flying: list[Publish] = []
        self.published: list[tuple[int, Publish]] = []
        self.told: list[tuple[int, Commanded]] = []
        """Steady ms and what a lamp was told."""
        self.notes: list[Note] = []
        self.views: dict[str, RoomView] = {}
        self.memory: dict[str, bytes] = dict(memory or {})
        self.written: list[tuple[int, str]] = []
        """Steady ms and the room whose record was to be written."""
        self.outcomes: list[Outcome] = []
        self.controller = Controller(building, self.memory, boot)
        self.connect(kept)

    def connect(self, kept: dict[str, str] | None = None) -> None:
        self.controller.linked(self.now)
        for topic, payload in (kept or {}).items():
            self.say(topic, payload, retained=True)
        self.take(self.controller.settled(self.now))

    def lose(self) -> None:
        """The connection breaks; the broker answers nothing any more."""
        self.flying.clear()
        self.controller.lost(self.now)

    def say(self, topic: str, payload: str | bytes, *, retained: bool = False) -> Outcome:
        data = payload.encode() if isinstance(payload, str) else payload
        return self.take(self.controller.receive(Message(topic, data, retained), self.now))

    def pass_(self, duration: str) -> None:
        self.pass_ms(parse(duration))

    def pass_ms(self, span: int) -> None:
        """Time passes, and the controller is woken whenever it wants to be."""
        end = self.now.steady + span
        for _ in range(MOST_ADVANCES):
            due = self.controller.due()
            if due is None or due > end:
                self.now = self.now.at(end)
                return
            self.now = self.now.at(max(due, self.now.steady))
            self.take(self.controller.advance(self.now))
        raise AssertionError("time does not pass: always something is due")

    def answer(self, *, ok: bool = True) -> None:
        """The broker takes, or refuses, all that is in flight."""
        flying, self.flying = self.flying, []
        for publish in flying:
            self.controller.acknowledged(publish.ticket, ok, self.now)

    def take(self, outcome: Outcome) -> Outcome:
        self.outcomes.append(outcome)
        self.published += [(self.now.steady, publish) for publish in outcome.commands]
        self.told += [(self.now.steady, note) for note in outcome.notes if isinstance(note, Commanded)]
        self.notes += outcome.notes
        self.views.update({view.room: view for view in outcome.rooms})
        for room in outcome.records:
            self.memory[room] = self.controller.memory(room)
            self.written.append((self.now.steady, room))
        self.flying += outcome.commands
        if self.answers:
            self.answer()
        return outcome

    # ---- what is seen ------------------------------------------------------------------------------------------------

    def shown(self, lamp: str, room: str = "workshop") -> tuple[float, int | None]:
        """Level and white that the lamp was last told."""
        view = dict(self.views[room].fixtures or ())[lamp]
        assert view is not None, f"{lamp} was never told"
        return view.level, view.kelvin

    def level(self, lamp: str, room: str = "workshop") -> float:
        return self.shown(lamp, room)[0]

    def reason(self, lamp: str, room: str = "workshop") -> LampReason:
        [found] = [why for why in self.views[room].because if isinstance(why, LampReason) and why.lamp == lamp]
        return found

    def forget(self) -> None:
        """Look only at what is told from here on."""
        self.told.clear()
        self.published.clear()
        self.notes.clear()
        self.written.clear()
        self.outcomes.clear()

    def telling(self, lamp: str) -> list[tuple[int, float]]:
        """When (steady ms) the lamp was told which level."""
        return [(at, note.level) for at, note in self.told if note.fixture == lamp]
