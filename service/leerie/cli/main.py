"""The command line: picks the command, and imports nothing that the command does not need.

A command is a module of this package with two functions: `add(parser)` adds its arguments, `main(args)` does the work
and returns the exit code: 0 done, 1 something is wrong, 2 wrong usage.
"""

import gc
import os
import signal
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING

from leerie import __version__
from leerie.cli import StopError, streams

if TYPE_CHECKING:
    import argparse

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
    # At once, whatever is being imported; a command that has something to put in order takes the signal over.
    signal.signal(signal.SIGINT, lambda *_: os._exit(1))
    # Loading makes many objects and hardly any garbage; at the usual 700 the collector goes through them all again
    # and again, for a tenth of the time a command takes.
    gc.set_threshold(50_000)
    streams.make_forgiving()
    sys.exit(main(sys.argv[1:]))


def main(words: Sequence[str]) -> int:
    """Do what the words say and return the exit code; argparse itself leaves with 2 on wrong usage."""
    code = 0
    try:
        args = _parser(words).parse_args(words)
        command = import_module(f"leerie.cli.{args.command}")
        # The daemon's words go to stderr; it lights the house whether or not anybody reads what else it might say.
        if args.command != "run":
            streams.check_writable()
        code = int(command.main(args))
        streams.flush()
    except StopError as stop:
        print(stop, file=sys.stderr)
        return stop.code
    except BrokenPipeError:  # who read our output has seen enough of it: that is nothing wrong
        streams.give_up()
    except Exception as fault:  # noqa: BLE001 -- the last door: users get a line, never a traceback
        why = streams.why_unwritable(fault)
        if why is not None:
            streams.give_up()
        print(_confession(fault) if why is None else why, file=sys.stderr)
        return 1
    return code


def _parser(words: Sequence[str]) -> "argparse.ArgumentParser":
    import argparse  # noqa: PLC0415 - run() is to be reached before anything that takes time

    parser = argparse.ArgumentParser(
        prog="leerie",
        description="Lights each room over MQTT when somebody is there, and darkens it when they have left.",
    )
    parser.add_argument("--version", action="version", version=f"leerie {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    named = next((word for word in words if not word.startswith("-")), None)
    for name, summary in COMMANDS.items():
        sentence = summary[0].upper() + summary[1:] + ("" if summary.endswith("?") else ".")
        command = commands.add_parser(name, help=summary, description=sentence)
        command.add_argument("--config", metavar="PATH", help="default: LEERIE_CONFIG, else ./leerie.toml")
        if name == named:
            import_module(f"leerie.cli.{name}").add(command)
    if named is not None and named not in COMMANDS:
        from leerie.config.problems import unknown  # noqa: PLC0415 - only who mistypes has to wait for it

        parser.error(unknown("command", named, COMMANDS))
    return parser


def _confession(fault: Exception) -> str:
    import traceback  # noqa: PLC0415 - as in _parser
    from pathlib import Path  # noqa: PLC0415 - as in _parser

    place = traceback.extract_tb(fault.__traceback__)[-1]
    text = " ".join(str(fault).split())
    where = f"{Path(place.filename).name}, line {place.lineno}"
    return f"leerie: a fault of leerie itself, please report it: {type(fault).__name__}: {text} ({where})"
