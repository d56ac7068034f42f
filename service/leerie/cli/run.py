"""`leerie run`: the daemon."""

import argparse
import os
from collections.abc import Callable
from contextlib import nullcontext

import msgspec

from leerie import __version__
from leerie.cli import StopError, configured
from leerie.config import ConfigError, load
from leerie.config.building import Building
from leerie.runtime import log
from leerie.runtime.broker import LOOPBACK, EmbeddedBroker, EmbeddedBrokerError
from leerie.runtime.daemon import Daemon
from leerie.runtime.reload import ReloadError


def add(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--embedded-broker",
        action="store_true",
        help=f"bring up a broker first, on {LOOPBACK} and broker.port: for first steps, never for a house",
    )


def main(args: argparse.Namespace) -> int:
    def read() -> Building:
        """The config as it stands now. Raises ConfigError, StopError."""
        building = load(path, os.environ).building
        return _with_embedded(building) if args.embedded_broker else building

    path = configured.shown_path(args)
    try:
        building = read()
    except ConfigError as wrong:
        raise StopError(str(wrong)) from wrong
    try:
        with EmbeddedBroker(building.broker.port) if args.embedded_broker else nullcontext():
            return _run(building, lambda: _read_again(read))
    except EmbeddedBrokerError as fault:
        raise StopError(str(fault)) from fault


def _read_again(read: Callable[[], Building]) -> Building:
    """For the running daemon, which a config that does not suit it must not stop. Raises ConfigError, ReloadError."""
    try:
        return read()
    except StopError as stop:
        raise ReloadError(str(stop)) from stop


def _run(building: Building, read: Callable[[], Building]) -> int:
    broker = building.broker
    # A password that stands in the open as another value is no secret any more, and hiding it would spoil every line.
    known = (broker.username, broker.client_id, broker.topics)
    secrets = (broker.password,) if broker.password and broker.password not in known else ()
    logger = log.make(building.service.log, secrets)
    logger.tell("leerie begins", version=__version__, site=building.site.name, rooms=len(building.rooms))
    return Daemon(building, logger, read=read).run()


def _with_embedded(building: Building) -> Building:
    """The same building at the embedded broker. Raises StopError where the config wants what that has not."""
    broker = building.broker
    if broker.host not in (LOOPBACK, "localhost", "::1"):
        raise StopError(f"--embedded-broker: broker.host is {broker.host}; allowed: {LOOPBACK}")
    if broker.tls is not None:
        raise StopError("--embedded-broker: it has no TLS; allowed: no broker.tls")
    if broker.protocol == "5":
        raise StopError('--embedded-broker: it speaks MQTT 3.1.1 only; allowed: broker.protocol "auto" or "3.1.1"')
    return msgspec.structs.replace(building, broker=msgspec.structs.replace(broker, host=LOOPBACK, protocol="3.1.1"))
