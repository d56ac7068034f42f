"""`leerie bias`: what the room's bias topic does."""

import argparse
import json

from leerie.cli import wishes
from leerie.cli.options import Options
from leerie.intake.wishes import BIAS, bias


def add(parser: argparse.ArgumentParser) -> None:
    wishes.add(parser)
    parser.add_argument("bias", metavar="X", help="-0.9…1: -0.15 is dimmer, 0 clears")
    parser.add_argument(
        "--for", dest="ends", metavar="DURATION", help="90m, vacant, day_part or ever; default: for ever"
    )


def main(args: argparse.Namespace) -> int:
    options = Options()
    wanted = options.number("X", args.bias, BIAS) or 0.0
    options.stop_if_wrong()
    payload = json.dumps(wanted if args.ends is None else {"bias": wanted, "for": args.ends})
    return wishes.say(args, bias, payload, lambda _before, now: abs(now["bias"] - wanted) < 1e-6)
