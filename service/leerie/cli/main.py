"""The command line: picks the command, and imports nothing that the command does not need.

A command is a module of this package with two functions: `add(parser)` adds its arguments, `main(args)` does the work
and returns the exit code: 0 done, 1 something is wrong, 2 wrong usage.
"""

import argparse
import gc
import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

from leerie import __version__
from leerie.cli import StopError

COMMANDS = {
    "run": "the daemon: light where somebody is, dark where they have left",
    "check": "is the config right, what does it say, and what of it is suspicious?",
    "demo": "a whole building in fast time in this terminal: broker, daemon, lamps and people",
    "explain": "why is every lamp of a room as it is, or why would it be?",
    "hold": "take a room over, or give it back",
    "ask": "ask a room for light or for dark",
    "bias": "want a room dimmer or brighter",
    "health": "is the running daemon connected and deciding?",
}
"""Each is the module of that name."""


def run() -> None:
    """The entry point."""
    # Loading makes many objects and hardly any garbage; at the usual 700 the collector goes through them all again
    # and again, for a tenth of the time a command takes.
    gc.set_threshold(50_000)
    sys.exit(main(sys.argv[1:]))


def main(words: Sequence[str]) -> int:
    """Do what the words say and return the exit code; argparse itself leaves with 2 on wrong usage."""
    args = _parser(words).parse_args(words)
    command = importlib.import_module(f"leerie.cli.{args.command}")
    try:
        code = command.main(args)
        sys.stdout.flush()
    except StopError as stop:
        print(stop, file=sys.stderr)
        return stop.code
    except KeyboardInterrupt:
        return 1
    except BrokenPipeError:  # who read our output has gone, and with them anybody to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except Exception as fault:  # noqa: BLE001 -- the last door: users get a line, never a traceback
        print(_confession(fault), file=sys.stderr)
        return 1
    return int(code)


def _parser(words: Sequence[str]) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="leerie",
        description="Lights each room over MQTT when somebody is there, and darkens it when they have left.",
    )
    parser.add_argument("--version", action="version", version=f"leerie {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    named = next((word for word in words if not word.startswith("-")), None)
    for name, summary in COMMANDS.items():
        command = commands.add_parser(name, help=summary, description=summary[0].upper() + summary[1:] + ".")
        command.add_argument("--config", metavar="PATH", help="default: LEERIE_CONFIG, else ./leerie.toml")
        if name == named:
            importlib.import_module(f"leerie.cli.{name}").add(command)
    return parser


def _confession(fault: Exception) -> str:
    place = traceback.extract_tb(fault.__traceback__)[-1]
    text = " ".join(str(fault).split())
    where = f"{Path(place.filename).name}, line {place.lineno}"
    return f"leerie: a fault of leerie itself, please report it: {type(fault).__name__}: {text} ({where})"
