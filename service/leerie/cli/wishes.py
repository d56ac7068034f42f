"""Saying a wish to the running daemon, and waiting for the room's state that answers."""

import argparse
import json
import secrets
import time
from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeAlias

from leerie.cli import ANSWER_S, StopError, configured, no_answer, streams
from leerie.config.building import Building
from leerie.intake.reader import Meaning
from leerie.intake.refusal import Refusal
from leerie.messages import Message
from leerie.report import explained
from leerie.runtime.connection import Got
from leerie.runtime.instance import ailment
from leerie.runtime.visit import NoVisitError, Visit

KEPT_S = 0.5
"""What the broker has kept of the room and of leerie itself comes at once, if there is any."""

State: TypeAlias = Mapping[str, Any]
"""A room's state as it is published."""
Granted: TypeAlias = Callable[[State | None, State], bool]
"""Given the state before, if one is known, and the state now: is this what was wished?"""


def add(parser: argparse.ArgumentParser) -> None:
    """What all wishes take."""
    parser.add_argument("room", metavar="ROOM", help="a room's key in the config")
    parser.add_argument("--json", action="store_true", help="print the room's state as it was published")


def say(args: argparse.Namespace, reader: Callable[[str], Meaning], payload: str, granted: Granted) -> int:
    """Publish the wish and show the room's state that answers it; `reader`: how the daemon reads that topic."""
    house = configured.building(args)
    kind = args.command
    topic = f"{house.broker.topics}/room/{args.room}/{kind}"
    if wrong := configured.unknown_room(args, house):
        raise StopError(wrong, 2)
    try:
        reader(args.room)(Message(topic, payload.encode()))
    except Refusal as refusal:
        raise StopError(f"{kind} {args.room}: {refusal.text}", 2) from refusal
    try:
        state = _answer(house, kind, args.room, payload, granted)
    except NoVisitError as fault:
        raise StopError(f"broker {house.broker.host}:{house.broker.port}: {fault}") from fault
    if args.json:
        print(json.dumps(state, ensure_ascii=False))
        return 0
    title = explained.title(
        args.room, state["state"], state["until"], _ends(state), state["bias"], always=kind == "bias"
    )
    for line in explained.page(title, state["because"], {}, width=streams.columns(explained.WIDTH)):
        print(line)
    return 0


def _ends(state: State) -> str | None:
    return None if state["hold"] is None else state["hold"]["for"]


def _answer(house: Building, kind: str, room: str, payload: str, granted: Granted) -> State:
    """The room's state once it is as wished. Raises StopError, NoVisitError."""
    last: State | None = None
    with Visit(house.broker, f"{house.broker.client_id}-{kind}-{secrets.token_hex(4)}") as visit:
        ears = _Ears(visit, house.broker.topics, room)
        before = ears.kept()
        visit.publish(f"{house.broker.topics}/room/{room}/{kind}", payload.encode())
        for state, kept in ears.states(ANSWER_S):
            if not kept:
                last = state
                if granted(before, state):
                    return state
                if _refused(before, state):
                    break
    if last is None:
        raise StopError(no_answer(room, running=ears.running, known=before is not None))
    faults = "".join(f"\n{room}: {fault['text']}" for fault in last["faults"])
    raise StopError(f"{room}: leerie answers, but did not do it: the room is {last['state']}{faults}")


def _refused(before: State | None, state: State) -> bool:
    """A refusal stands in it that did not stand there before."""
    known = before["faults"] if before is not None else []
    return any(fault["code"] == "message_refused" and fault not in known for fault in state["faults"])


class _Ears:
    """Hears what a room's state is, and whether leerie says that it runs."""

    def __init__(self, visit: Visit, root: str, room: str) -> None:
        self._visit = visit
        self._service = f"{root}/service"
        self.running = False
        visit.subscribe((f"{root}/room/{room}/state", self._service))

    def kept(self) -> State | None:
        """The state that the broker has kept, if it has one."""
        return next((state for state, kept in self.states(KEPT_S) if kept), None)

    def states(self, seconds: float) -> Iterator[tuple[State, bool]]:
        """The room's states that come in that time, each with whether the broker had kept it."""
        for word in self._visit.words(seconds):
            if not isinstance(word, Got):
                continue
            if word.topic == self._service:
                self.running = ailment(word.payload, time.time_ns() // 1_000) is None
                continue
            try:
                yield json.loads(word.payload), word.retained
            except (ValueError, RecursionError):
                continue  # not from a leerie
