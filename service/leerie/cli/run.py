"""`leerie run`: the daemon."""

import argparse
from contextlib import nullcontext

import msgspec

from leerie import __version__
from leerie.cli import StopError, configured
from leerie.config.building import Building
from leerie.runtime import log
from leerie.runtime.broker import LOOPBACK, EmbeddedBroker, EmbeddedBrokerError
from leerie.runtime.daemon import Daemon


def add(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--embedded-broker",
        action="store_true",
        help=f"bring up a broker first, on {LOOPBACK} and broker.port: for first steps, never for a house",
    )


def main(args: argparse.Namespace) -> int:
    building = configured.building(args)
    if args.embedded_broker:
        building = _with_embedded(building)
    try:
        with EmbeddedBroker(building.broker.port) if args.embedded_broker else nullcontext():
            return _run(building)
    except EmbeddedBrokerError as fault:
        raise StopError(str(fault)) from fault


def _run(building: Building) -> int:
    broker = building.broker
    # A password that stands in the open as another value is no secret any more, and hiding it would spoil every line.
    known = (broker.username, broker.client_id, broker.topics)
    secrets = (broker.password,) if broker.password and broker.password not in known else ()
    logger = log.make(building.service.log, secrets)
    logger.tell("leerie begins", version=__version__, site=building.site.name, rooms=len(building.rooms))
    return Daemon(building, logger).run()


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
