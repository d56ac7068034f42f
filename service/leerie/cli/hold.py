"""`leerie hold`: what the room's hold topic does."""

import argparse
import json

from leerie.cli import StopError, wishes
from leerie.cli.wishes import State
from leerie.intake.wishes import hold


def add(parser: argparse.ArgumentParser) -> None:
    wishes.add(parser)
    parser.add_argument(
        "action", choices=("start", "end", "toggle"), help="toggle ends a hold or starts the room's usual one"
    )
    parser.add_argument(
        "--for", dest="ends", metavar="DURATION", help="90m, vacant, day_part or ever; default: the room's hold_for"
    )
    parser.add_argument("--level", type=float, metavar="L", help="0…1; without it the lamps are left alone")
    parser.add_argument("--kelvin", type=int, metavar="K", help="white, with --level")


def main(args: argparse.Namespace) -> int:
    wanted = {"for": args.ends, "level": args.level, "kelvin": args.kelvin}
    given = {key: value for key, value in wanted.items() if value is not None}
    if given and args.action != "start":
        options = ", ".join(f"--{key}" for key in given)
        raise StopError(f"hold {args.action} takes no {options}; only hold start does", 2)
    payload = json.dumps({"hold": True, **given}) if given else args.action

    def granted(before: State | None, now: State) -> bool:
        if args.action == "toggle":
            return before is None or bool((before["hold"] is None) != (now["hold"] is None))
        return bool((now["hold"] is not None) == (args.action == "start"))

    return wishes.say(args, hold, payload, granted)
