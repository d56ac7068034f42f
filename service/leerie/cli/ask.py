"""`leerie ask`: what the room's ask topic does."""

import argparse

from leerie.cli import wishes
from leerie.intake.wishes import ask


def add(parser: argparse.ArgumentParser) -> None:
    wishes.add(parser)
    parser.add_argument(
        "wanted", metavar="light|dark", choices=("light", "dark"), help="dark lasts until the room is vacant"
    )


def main(args: argparse.Namespace) -> int:
    return wishes.say(args, ask, args.wanted, lambda _before, now: bool(now["asked"] == args.wanted))
