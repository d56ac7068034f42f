"""The config that a command works with."""

import argparse
import os
import sys
from pathlib import Path

from leerie.cli import StopError
from leerie.config import ConfigError, load
from leerie.config.building import Building


def shown_path(args: argparse.Namespace) -> Path:
    """Where the config that is asked for stands; said on stderr."""
    path = Path(args.config or os.environ.get("LEERIE_CONFIG") or "leerie.toml")
    print(f"config: {path}", file=sys.stderr)
    return path


def building(args: argparse.Namespace) -> Building:
    """Read the config that is asked for, and show which that is. Raises StopError."""
    try:
        return load(shown_path(args), os.environ).building
    except ConfigError as wrong:
        raise StopError(str(wrong)) from wrong
