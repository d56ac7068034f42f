"""`leerie hold`: what the room's hold topic does."""

import argparse
import json

from leerie.cli import wishes
from leerie.cli.options import Options
from leerie.cli.wishes import State
from leerie.intake.wishes import KELVIN, LEVEL, hold

ACTIONS = ("start", "end", "toggle")


def add(parser: argparse.ArgumentParser) -> None:
    wishes.add(parser)
    parser.add_argument("action", metavar="|".join(ACTIONS), help="toggle ends a hold or starts the room's usual one")
    parser.add_argument(
        "--for", dest="ends", metavar="DURATION", help="90m, vacant, day_part or ever; default: the room's hold_for"
    )
    parser.add_argument("--level", metavar="L", help="0…1; without it the lamps are left alone")
    parser.add_argument("--kelvin", metavar="K", help="white, with --level")


def main(args: argparse.Namespace) -> int:
    action, given = _wanted(args)
    payload = json.dumps({"hold": True, **given}) if given else action

    def granted(before: State | None, now: State) -> bool:
        if action == "toggle":
            return before is None or bool((before["hold"] is None) != (now["hold"] is None))
        return bool((now["hold"] is not None) == (action == "start"))

    return wishes.say(args, hold, payload, granted)


def _wanted(args: argparse.Namespace) -> tuple[str, dict[str, object]]:
    """The action, and what of its length and light was given. Raises StopError."""
    options = Options()
    action = options.word("|".join(ACTIONS), args.action, ACTIONS)
    level = options.number("--level", args.level, LEVEL)
    kelvin = options.number("--kelvin", args.kelvin, KELVIN)
    options.stop_if_wrong()
    if kelvin is not None and kelvin.is_integer():
        kelvin = int(kelvin)
    wanted = {"for": args.ends, "level": level, "kelvin": kelvin}
    given = {key: value for key, value in wanted.items() if value is not None}
    if given and action != "start":
        options.note(f"hold {action} takes no {', '.join(f'--{key}' for key in given)}; only hold start does")
    options.stop_if_wrong()
    return action, given
