"""Saying a wish to the running daemon, and waiting for the room's state that answers."""

import argparse
import json
import secrets
from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeAlias

from leerie.cli import StopError, configured
from leerie.config.building import Building
from leerie.config.problems import listing, nearest
from leerie.intake.reader import Meaning
from leerie.intake.refusal import Refusal
from leerie.messages import Message
from leerie.runtime.connection import Got
from leerie.runtime.visit import NoVisitError, Visit

ANSWER_S = 3.0
KEPT_S = 0.5
"""The room's kept state comes at once, if there is one."""

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
    _check_room(args.room, house)
    try:
        reader(args.room)(Message(topic, payload.encode()))
    except Refusal as refusal:
        raise StopError(f"{kind} {args.room}: {refusal.text}", 2) from refusal
    try:
        state = _answer(house, kind, args.room, payload, granted)
    except NoVisitError as fault:
        raise StopError(f"broker {house.broker.host}:{house.broker.port}: {fault}") from fault
    print(json.dumps(state, ensure_ascii=False) if args.json else _words(args.room, state))
    return 0


def _check_room(room: str, house: Building) -> None:
    if room in house.rooms:
        return
    meant = nearest(room, house.rooms)
    hint = f"; did you mean {meant}?" if meant else ""
    raise StopError(f"unknown room {room!r}; known: {listing(house.rooms)}{hint}", 2)


def _answer(house: Building, kind: str, room: str, payload: str, granted: Granted) -> State:
    """The room's state once it is as wished. Raises StopError, NoVisitError."""
    state_topic = f"{house.broker.topics}/room/{room}/state"
    last: State | None = None
    with Visit(house.broker, f"{house.broker.client_id}-{kind}-{secrets.token_hex(4)}") as visit:
        visit.subscribe((state_topic,))
        before = next((state for state, kept in _states(visit, KEPT_S) if kept), None)
        visit.publish(f"{house.broker.topics}/room/{room}/{kind}", payload.encode())
        for state, kept in _states(visit, ANSWER_S):
            if not kept:
                last = state
                if granted(before, state):
                    return state
                if _refused(before, state):
                    break
    if last is None:
        raise StopError(f"{room}: no leerie answers within {ANSWER_S:.0f} s; is `leerie run` running on this broker?")
    faults = "".join(f"\n{room}: {fault['text']}" for fault in last["faults"])
    raise StopError(f"{room}: leerie answers, but did not do it: the room is {last['state']}{faults}")


def _refused(before: State | None, state: State) -> bool:
    """A refusal stands in it that did not stand there before."""
    known = before["faults"] if before is not None else []
    return any(fault["code"] == "message_refused" and fault not in known for fault in state["faults"])


def _states(visit: Visit, seconds: float) -> Iterator[tuple[State, bool]]:
    """The room's states that come in that time, each with whether the broker had kept it."""
    for word in visit.words(seconds):
        if isinstance(word, Got):
            try:
                yield json.loads(word.payload), word.retained
            except (ValueError, RecursionError):
                continue  # not from a leerie


def _words(room: str, state: State) -> str:
    until = f" until {state['until']}" if state["until"] else ""
    return "\n".join([f"{room}: {state['state']}{until}", *(f"  {reason}" for reason in state["because"])])
