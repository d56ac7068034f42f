"""A small building written in a few lines, and the real controller playing it on a clock of our own."""

import json
import tempfile
from collections import defaultdict
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from leerie.config import load
from leerie.config.building import Building
from leerie.config.durations import parse
from leerie.controller import Controller
from leerie.messages import Message, Outcome
from leerie.notes import Fault, Note
from leerie.now import Now
from leerie.views import RoomView

N = TypeVar("N")

SITE = """
[site]
name = "Saltmarket violin workshop"
latitude = 55.8569
longitude = -4.2448
timezone = "{timezone}"
[broker]
"""
START_MS = 5_000_000
MOST_STEPS = 100_000
"""More than any stretch of time here needs; a clock that stands still is a bug, and stops."""

# ---- a building in a few lines ---------------------------------------------------------------------------------------


def toml(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def table(name: str, keys: dict[str, Any]) -> str:
    return f"[{name}]\n" + "".join(f"{key} = {toml(value)}\n" for key, value in keys.items())


def sensor(name: str, kind: str = "presence", **keys: Any) -> str:
    """A sensor whose topic is its name."""
    return table(f"sensors.{name}", {"kind": kind, "topic": name, **keys})


def lamp(name: str, **keys: Any) -> str:
    """A lamp that is told its level as it is, and never refreshed."""
    kind = keys.get("kind", "dimmable")
    plain = {"kind": kind, "topic": f"lamps/{name}", "payload": "$on" if kind == "switched" else "$level"}
    if kind != "switched":
        plain["curve"] = "square"
    return table(f"fixtures.{name}", {**plain, "refresh": "never", **keys})


def day_part(name: str, starts: str, **keys: Any) -> str:
    return table(f"day_parts.{name}", {"starts": starts, "blend": "0s", **keys})


def room(
    name: str, scenes: dict[str, dict[str, Any]], during: dict[str, dict[str, Any]] | None = None, **keys: Any
) -> str:
    """A room; its lamps are those that its scenes name."""
    lamps = list(dict.fromkeys(lamp for scene in scenes.values() for lamp in scene))
    parts = [table(f"rooms.{name}", {"fixtures": lamps, **keys}), table(f"rooms.{name}.scenes", scenes)]
    parts += [table(f"rooms.{name}.during.{part}", rules) for part, rules in (during or {}).items()]
    return "\n".join(parts)


DAY = day_part("day", "08:00") + day_part("evening", "18:00") + day_part("night", "23:00")


def building(*stanzas: str, days: str = DAY, timezone: str = "Europe/London") -> Building:
    """The building that the stanzas describe."""
    return _load("\n".join((SITE.format(timezone=timezone), days, *stanzas)))


@cache
def _load(text: str) -> Building:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "leerie.toml"
        path.write_text(text, encoding="utf-8")
        return load(path, {}).building


# ---- a building in time ----------------------------------------------------------------------------------------------


class Play:
    """The real controller in virtual time. `at`: wall clock, UTC unless it says otherwise."""

    def __init__(self, building: Building, at: str = "2026-03-02T09:00", **kept: Any) -> None:
        """`kept`: retained messages that the broker has when we connect, topic → payload."""
        moment = datetime.fromisoformat(at)
        moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        self.now = Now(START_MS, round(moment.timestamp() * 1e6))
        self.building = building
        self.memory: dict[str, bytes] = {}
        self.views: dict[str, RoomView] = {}
        self.levels: dict[str, float] = {}
        """What each lamp was last told, by its topic's last segment."""
        self.told: dict[str, list[float]] = defaultdict(list)
        """What each lamp was told since this was last looked at."""
        self.notes: list[Note] = []
        self.spoke: list[str] = []
        """Rooms that published their state since this was last looked at."""
        self._begin(kept)

    def _begin(self, kept: dict[str, Any]) -> None:
        self.controller = Controller(self.building, self.memory, "one boot")
        self.controller.linked(self.now)
        for topic, payload in kept.items():
            self.say(topic, payload, retained=True)
        self._take(self.controller.settled(self.now))

    def restart(self, building: Building | None = None, after: str = "0s", **kept: Any) -> None:
        """Stop at once; `after` that begin again from what was written; lamps are told again at once."""
        self._step(self.now.steady + parse(after))
        self.building = building or self.building
        self._begin(kept)
        self.pass_("0s")

    def reconnect(self, after: str = "0s", **kept: Any) -> None:
        """The broker goes and comes back `after` that; what it kept arrives first."""
        self.controller.lost(self.now)
        self.pass_(after)
        self.controller.linked(self.now)
        for topic, payload in kept.items():
            self.say(topic, payload, retained=True)
        self._take(self.controller.settled(self.now))
        self.pass_("0s")

    def farewell(self) -> None:
        """A clean stop."""
        self._take(self.controller.farewell(self.now))

    # ---- what happens ------------------------------------------------------------------------------------------------

    def say(self, topic: str, payload: object, *, retained: bool = False) -> None:
        """A message comes."""
        self.pass_("0s")
        data = payload.encode() if isinstance(payload, str) else json.dumps(payload).encode()
        self._take(self.controller.receive(Message(topic, data, retained), self.now))

    def hold(self, payload: object, room: str = "workshop") -> None:
        self.say(f"leerie/room/{room}/hold", payload)

    def ask(self, payload: str, room: str = "workshop") -> None:
        self.say(f"leerie/room/{room}/ask", payload)

    def bias(self, payload: object, room: str = "workshop") -> None:
        self.say(f"leerie/room/{room}/bias", payload)

    def pass_(self, duration: str) -> None:
        """Time passes, and the controller is woken whenever it wants to be."""
        self._pass_until(self.now.steady + parse(duration))

    def until(self, clock: str) -> None:
        """Time passes until the wall clock (UTC) next says `HH:MM` or `HH:MM:SS`."""
        here = datetime.fromtimestamp(self.now.wall / 1e6, UTC)
        hour, minute, *second = (int(part) for part in clock.split(":"))
        there = here.replace(hour=hour, minute=minute, second=second[0] if second else 0, microsecond=0)
        there = there if there > here else there + timedelta(days=1)
        self._pass_until(self.now.steady + round((there - here).total_seconds() * 1_000))

    def _pass_until(self, end: int) -> None:
        for _ in range(MOST_STEPS):
            due = self.controller.due()
            if due is None or due > end:
                self._step(end)
                return
            self._step(max(due, self.now.steady))
            self._take(self.controller.advance(self.now))
        raise AssertionError("time does not pass")

    def _step(self, steady: int) -> None:
        self.now = self.now.at(steady)

    def _take(self, outcome: Outcome) -> None:
        for publish in outcome.commands:
            name = publish.topic.removeprefix("lamps/")
            payload = json.loads(publish.payload)
            level = float(payload["level"] if isinstance(payload, dict) else payload)
            self.levels[name] = level
            self.told[name].append(level)
            self.controller.acknowledged(publish.ticket, ok=True, now=self.now)
        self.memory.update({name: self.controller.memory(name) for name in outcome.records})
        self.views.update({view.room: view for view in outcome.rooms})
        self.spoke.extend(view.room for view in outcome.rooms)
        self.notes.extend(outcome.notes)

    # ---- what is seen ------------------------------------------------------------------------------------------------

    def heard(self) -> dict[str, list[float]]:
        """What the lamps were told since this was last asked."""
        told = dict(self.told)
        self.told.clear()
        return told

    def view(self, room: str = "workshop") -> RoomView:
        return self.views[room]

    def state(self, room: str = "workshop") -> str:
        return self.views[room].state

    def left(self, room: str = "workshop") -> float | None:
        """Seconds until the state ends by itself, if it does."""
        until = self.views[room].until
        return None if until is None else (until - self.now.wall) / 1e6

    def faults(self, room: str = "workshop") -> list[str]:
        return [f"{fault.code} {fault.what}" for fault in self.views[room].faults]

    def fault(self, code: str, room: str = "workshop") -> Fault:
        return next(fault for fault in self.views[room].faults if fault.code == code)

    def noted(self, kind: type[N]) -> list[N]:
        return [note for note in self.notes if isinstance(note, kind)]

    @property
    def clock(self) -> str:
        return datetime.fromtimestamp(self.now.wall / 1e6, UTC).strftime("%H:%M:%S")
