"""`leerie health`: is the running daemon connected and deciding? For container health checks."""

import argparse
import secrets
import time

from leerie.cli import StopError, configured
from leerie.config.running import Broker
from leerie.runtime.connection import Got
from leerie.runtime.instance import ailment, says_stopped
from leerie.runtime.visit import NoVisitError, Visit

KEPT_S = 2.0
"""The daemon's card stands retained with the broker: it comes at once, or there is none."""


def add(_parser: argparse.ArgumentParser) -> None:
    """Nothing but the config."""


def main(args: argparse.Namespace) -> int:
    broker = configured.building(args).broker
    try:
        card = _card(broker)
    except NoVisitError as fault:
        raise StopError(f"broker {broker.host}:{broker.port}: {fault}") from fault
    why = _ailment(card, broker.topics)
    if why is not None:
        raise StopError(why)
    print("connected and deciding")
    return 0


def _ailment(card: bytes | None, root: str) -> str | None:
    if card is None:
        return f"nothing has been heard of a leerie on the topics {root}/…; is `leerie run` running on this broker?"
    if says_stopped(card):
        return f"no leerie runs on the topics {root}/…, or the broker has lost it"
    why = ailment(card, time.time_ns() // 1_000)
    return None if why is None else f"leerie on the topics {root}/…: {why}"


def _card(broker: Broker) -> bytes | None:
    topic = f"{broker.topics}/service"
    with Visit(broker, f"{broker.client_id}-health-{secrets.token_hex(4)}") as visit:
        visit.subscribe((topic,))
        return next((word.payload for word in visit.words(KEPT_S) if isinstance(word, Got)), None)
