"""`leerie demo`: an embedded broker, the real daemon and a building full of invented people, in fast time."""

import argparse
import importlib.util
import os
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from leerie import config
from leerie.cli import StopError, configured
from leerie.cli.demo.lines import Lines
from leerie.cli.demo.stage import Stage
from leerie.config import durations, load
from leerie.config.building import Building
from leerie.daylight import civil
from leerie.runtime import log
from leerie.runtime.broker import EmbeddedBroker, EmbeddedBrokerError
from leerie.runtime.clock import Clock
from leerie.runtime.daemon import Daemon

SPEED = 300
"""A day in not quite five minutes."""
FASTEST = 3600
FIRST_DAY = date(2026, 1, 12)
"""A Monday in winter: there is light to be made, morning and evening."""
FIRST_SECOND = 6 * 3600 + 15 * 60
SEED = 24
"""A day on which buttons are pressed and a room is held."""
FRAMES_A_SECOND = 8


def add(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--speed",
        type=_speed,
        default=SPEED,
        metavar="N",
        help=f"so many times as fast as the real day; default {SPEED}, at most {FASTEST}",
    )
    parser.add_argument(
        "--for",
        dest="lasts_ms",
        type=_duration,
        metavar="DURATION",
        help="end after so long, such as 2m, by your own watch",
    )
    parser.epilog = (
        "Plays the example config, or with --config another; your own broker, lamps and files are left alone."
    )


def main(args: argparse.Namespace) -> int:
    if importlib.util.find_spec("rich") is None:
        raise StopError("the demo needs more than leerie itself: pip install 'leerie[demo]'")
    building = _example() if args.config is None else configured.building(args)
    try:
        with EmbeddedBroker() as broker:
            return _play(_at(broker.port, building), args)
    except EmbeddedBrokerError as fault:
        raise StopError(str(fault)) from fault


def _play(building: Building, args: argparse.Namespace) -> int:
    """The daemon in this thread, which gets the signals, the stage in another; when one ends, so does the other."""
    clock = Clock(args.speed, civil.moment(ZoneInfo(building.site.timezone), FIRST_DAY, FIRST_SECOND))
    stage = Stage(building, clock, SEED)
    over = threading.Event()
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere, _shown(stage), ThreadPoolExecutor(1) as threads:
        daemon = Daemon(building, log.make("json", stream=nowhere), clock)
        playing = threads.submit(stage.play, over, args.lasts_ms)
        playing.add_done_callback(lambda _: daemon.stop())
        try:
            code = daemon.run()
        finally:
            over.set()
    playing.result()
    print(stage.summary())
    return code


def _shown(stage: Stage) -> AbstractContextManager[Any]:
    """The building on the whole terminal, or where there is none one line for each change."""
    from rich.console import Console  # noqa: PLC0415 -- an extra: not everybody has it
    from rich.live import Live  # noqa: PLC0415 -- as above

    from leerie.cli.demo.screen import Screen  # noqa: PLC0415 -- as above

    console = Console()
    if not console.is_terminal or console.is_dumb_terminal:
        stage.heard = Lines(stage).heard
        print(f"{stage.building.site.name}, time ×{stage.speed:g}; watch it too: {stage.invitation}", flush=True)
        return nullcontext()
    return Live(
        Screen(stage),
        console=console,
        screen=True,
        refresh_per_second=FRAMES_A_SECOND,
        redirect_stdout=False,
        redirect_stderr=False,
    )


def _example() -> Building:
    """The packaged example, and nothing of the environment's."""
    return load(Path(config.__file__).with_name("example.toml"), {}).building


def _at(port: int, building: Building) -> Building:
    """The building with everything that reaches beyond the demo taken away: its broker, its scrape page, its folder."""
    broker = replace(
        building.broker, host="127.0.0.1", port=port, protocol="3.1.1", username=None, password=None, tls=None
    )
    service = replace(building.service, metrics=None, state_dir=None)
    return replace(building, broker=broker, service=service)


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0 < speed <= FASTEST:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed; a number above 0, at most {FASTEST}")
    return speed


def _duration(text: str) -> int:
    try:
        ms = durations.parse(text)
    except ValueError as wrong:
        raise argparse.ArgumentTypeError(str(wrong)) from None
    if ms == 0:
        raise argparse.ArgumentTypeError("longer than 0s")
    return ms
