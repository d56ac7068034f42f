"""`leerie bias`: what the room's bias topic does."""

import argparse
import json

from leerie.cli import wishes
from leerie.intake.wishes import bias


def add(parser: argparse.ArgumentParser) -> None:
    wishes.add(parser)
    parser.add_argument("bias", metavar="X", type=float, help="-0.9…1: -0.15 is dimmer, 0 clears")
    parser.add_argument(
        "--for", dest="ends", metavar="DURATION", help="90m, vacant, day_part or ever; default: for ever"
    )


def main(args: argparse.Namespace) -> int:
    payload = json.dumps(args.bias if args.ends is None else {"bias": args.bias, "for": args.ends})
    return wishes.say(args, bias, payload, lambda _before, now: abs(now["bias"] - args.bias) < 1e-6)
