"""`leerie demo`: an embedded broker, the real daemon and a building full of invented people, in fast time."""

import argparse
import importlib.util
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from leerie import config
from leerie.cli import StopError, configured
from leerie.cli.demo.backstage import Backstage
from leerie.cli.demo.lines import Lines
from leerie.cli.demo.stage import Stage
from leerie.config import durations, load
from leerie.config.building import Building
from leerie.config.problems import shown
from leerie.daylight import civil
from leerie.runtime.broker import EmbeddedBrokerError

SPEED = 720
"""A day in two minutes."""
FASTEST = 3600
FIRST_DAY = date(2026, 1, 12)
"""A Monday in winter: there is light to be made, morning and evening."""
FIRST_SECOND = 6 * 3600 + 15 * 60
SEED = 447
"""A day on which people hold, ask and press, and one is left in the dark."""
FRAMES_A_SECOND = 8
NEEDED = ("amqtt", "blessed", "rich")
"""What the extra brings."""


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
        "Plays your config, or where there is none the example that comes with leerie; "
        "your own broker, lamps and files are left alone."
    )


def main(args: argparse.Namespace) -> int:
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        raise StopError(f"the demo needs more than leerie itself ({', '.join(missing)}): pip install 'leerie[demo]'")
    building = configured.building(args) if _own_config(args) else _example()
    try:
        return _play(building, args)
    except EmbeddedBrokerError as fault:
        raise StopError(str(fault)) from fault


def _play(building: Building, args: argparse.Namespace) -> int:
    over = threading.Event()
    start = civil.moment(ZoneInfo(building.site.timezone), FIRST_DAY, FIRST_SECOND)
    with _ended_by_signals(over), Backstage(building, args.speed, start) as backstage:
        stage = Stage(backstage.building, backstage.clock, SEED)
        stage.page = backstage.page
        with _shown(stage, backstage, over):
            stage.play(lambda: over.is_set() or backstage.fallen, args.lasts_ms)
        if backstage.fallen and not over.is_set():
            raise StopError("leerie has ended by itself, which it should not; please report it")
    print(stage.summary())
    return 0


@contextmanager
def _ended_by_signals(over: threading.Event) -> Iterator[None]:
    before = {number: signal.signal(number, lambda *_: over.set()) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def _shown(stage: Stage, backstage: Backstage, over: threading.Event) -> Iterator[None]:
    """The building on the whole terminal, with keys; or where there is none one line for each change."""
    from rich.console import Console  # noqa: PLC0415 -- an extra: not everybody has it
    from rich.live import Live  # noqa: PLC0415 -- as above

    from leerie.cli.demo.keys import Hands, reading  # noqa: PLC0415 -- as above
    from leerie.cli.demo.screen import Screen  # noqa: PLC0415 -- as above

    console = Console()
    if not console.is_terminal or console.is_dumb_terminal:
        stage.heard = Lines(stage).heard
        look_on = f"watch it too: {stage.invitation}; its page: {stage.page}"
        print(f"{stage.building.site.name}, time ×{stage.speed:g}; {look_on}", flush=True)
        yield
        return
    keys = reading(Hands(stage, backstage, over.set), over) if sys.stdin.isatty() else nullcontext()
    live = Live(
        Screen(stage),
        console=console,
        screen=True,
        refresh_per_second=FRAMES_A_SECOND,
        redirect_stdout=False,
        redirect_stderr=False,
    )
    with live, keys:
        yield


def _own_config(args: argparse.Namespace) -> bool:
    """Somebody has named a config, or stands beside one."""
    return configured.named_path(args) is not None or Path(configured.DEFAULT).exists()


def _example() -> Building:
    """The packaged example, and nothing of the environment's."""
    configured.show("the example that comes with leerie")
    return load(Path(config.__file__).with_name("example.toml"), {}).building


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0 < speed <= FASTEST:
        raise argparse.ArgumentTypeError(f"{shown(text)} is no speed; a number above 0, at most {FASTEST}")
    return speed


def _duration(text: str) -> int:
    try:
        ms = durations.parse(text)
    except ValueError as wrong:
        raise argparse.ArgumentTypeError(str(wrong)) from None
    if ms == 0:
        raise argparse.ArgumentTypeError("longer than 0s")
    return ms
