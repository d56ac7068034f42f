"""`leerie ask`: what the room's ask topic does."""

import argparse

from leerie.cli import wishes
from leerie.cli.options import Options
from leerie.intake.wishes import ask

WANTED = ("light", "dark")


def add(parser: argparse.ArgumentParser) -> None:
    wishes.add(parser)
    parser.add_argument("wanted", metavar="|".join(WANTED), help="dark lasts until the room is vacant")


def main(args: argparse.Namespace) -> int:
    options = Options()
    wanted = options.word("|".join(WANTED), args.wanted, WANTED)
    options.stop_if_wrong()
    return wishes.say(args, ask, wanted, lambda _before, now: bool(now["asked"] == wanted))
