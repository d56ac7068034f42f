"""`leerie check`: is the config right, what does it say, and what of it is suspicious?"""

import argparse
import json
import os
import sys
import textwrap
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, date, datetime
from shutil import get_terminal_size
from zoneinfo import ZoneInfo

from leerie.ahead import Year, suspicions
from leerie.cli import configured
from leerie.config import ConfigError, Loaded, Problem, load
from leerie.config.problems import shown
from leerie.report import checked, understood

YEARS = range(1971, 2100)
"""Dates are reckoned from 1970; the sun's formulas are made for the years around 2000."""


def add(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--date", type=_date, metavar="D", help="the day to show, and the first of the year; today")
    parser.add_argument("--strict", action="store_true", help="warnings count: exit 1 where there are any")
    parser.add_argument("--json", action="store_true", help="for programs")


def main(args: argparse.Namespace) -> int:
    try:
        loaded = load(configured.shown_path(args), os.environ)
    except ConfigError as wrong:
        print(wrong, file=sys.stderr)
        if args.json:
            print(json.dumps(checked.refused(wrong.problems, args.date), ensure_ascii=False))
        return 1
    year = Year(loaded.building, args.date or _today(loaded))
    found = _suspicions(loaded, year)
    with suppress(BrokenPipeError):  # who has seen enough still wants to know whether warnings count
        _print(args, year, found)
    if found and args.strict:
        print(f"{_count(found)}, and --strict makes them count", file=sys.stderr)
        return 1
    return 0


def _print(args: argparse.Namespace, year: Year, found: Sequence[Problem]) -> None:
    if args.json:
        print(json.dumps(checked.accepted(year, found), ensure_ascii=False))
        return
    for line in understood.page(year):
        print(line)
    _print_warnings(found)


def _date(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{shown(text)} is no date such as 2026-03-02") from None
    if day.year not in YEARS:
        raise argparse.ArgumentTypeError(f"{text} is out of reach; {YEARS.start} to {YEARS.stop - 1}")
    return day


def _today(loaded: Loaded) -> date:
    return datetime.now(UTC).astimezone(ZoneInfo(loaded.building.site.timezone)).date()


def _suspicions(loaded: Loaded, year: Year) -> list[Problem]:
    return loaded.located([*loaded.suspicions(year.days[0].year), *suspicions(year)])


def _print_warnings(found: Sequence[Problem]) -> None:
    """One a line; on a terminal broken at its width."""
    print(f"{_count(found)}:" if found else "No warnings.")
    for line in map(str, found):
        width = get_terminal_size().columns if sys.stdout.isatty() else len(line) + 1
        print(textwrap.fill(line, width, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False))


def _count(found: Sequence[Problem]) -> str:
    return f"{len(found)} {'warning' if len(found) == 1 else 'warnings'}"
