"""The config that a command works with."""

import argparse
import os
import sys
from contextlib import suppress
from pathlib import Path

from leerie.cli import StopError
from leerie.config import ConfigError, load
from leerie.config.building import Building
from leerie.config.problems import printable, unknown

DEFAULT = "leerie.toml"


def named_path(args: argparse.Namespace) -> str | None:
    """The path that somebody has named."""
    return args.config or os.environ.get("LEERIE_CONFIG") or None


def shown_path(args: argparse.Namespace) -> Path:
    """Where the config that is asked for stands; said on stderr."""
    path = Path(named_path(args) or DEFAULT)
    show(str(path))
    return path


def show(which: str) -> None:
    """Say which config is in use, if anybody can hear it."""
    with suppress(OSError, ValueError):
        print(f"config: {printable(which)}", file=sys.stderr, flush=True)


def building(args: argparse.Namespace) -> Building:
    """Read the config that is asked for, and show which that is. Raises StopError."""
    try:
        return load(shown_path(args), os.environ).building
    except ConfigError as wrong:
        raise StopError(str(wrong)) from wrong


def unknown_room(args: argparse.Namespace, house: Building) -> str | None:
    """What is wrong with the room that is asked for; None: nothing."""
    return None if args.room in house.rooms else unknown("room", args.room, house.rooms)
