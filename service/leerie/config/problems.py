"""What is wrong with a config: raised where it is seen, told in one line where it is read."""

import difflib
import json
from collections.abc import Iterable
from typing import TypeAlias

import msgspec

Path: TypeAlias = tuple[str | int, ...]
"""Where in the config: table names, keys and list positions."""

LONGEST_SHOWN = 48
MOST_LISTED = 12


class NotAllowedError(ValueError):
    """A value that is not allowed."""

    def __init__(self, problem: str, allowed: str = "", nearest: str | None = None) -> None:
        """`problem` says what was found, `allowed` what is, `nearest` the known name it may have meant."""
        super().__init__(f"{problem}; {allowed}" if allowed else problem)
        self.problem = problem
        self.allowed = allowed
        self.nearest = nearest


class Flaw(msgspec.Struct, frozen=True):
    """A mistake at its place in the config, before anybody has looked up which file and line that is."""

    path: Path
    problem: str
    allowed: str = ""
    nearest: str | None = None


class Problem(msgspec.Struct, frozen=True):
    """A mistake as it is told."""

    file: str
    """The config file, the environment variable or the secret's file."""
    line: int | None
    """From 1; None where a file has no lines: the environment, a secret."""
    key: str
    """Dotted, as it would be written; empty where the mistake is the file's own."""
    problem: str
    allowed: str
    nearest: str | None = None

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        told = f"{place} {self.key}: {self.problem}" if self.key else f"{place}: {self.problem}"
        if self.allowed:
            told += f"; {self.allowed}"
        if self.nearest is not None:
            told += f"; did you mean {self.nearest}?"
        return printable(told)


class ConfigError(Exception):
    """The config cannot be used. Nothing of it is in force."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def dotted(path: Path) -> str:
    """The path as one would write it: rooms.shop.sensors[1]."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            bare = part.isascii() and part.replace("_", "").replace("-", "").isalnum()
            text += ("." if text else "") + (part if bare else json.dumps(part, ensure_ascii=False))
    return text


def nearest(word: object, known: Iterable[str]) -> str | None:
    """The known name that a misspelt one most likely meant."""
    if not isinstance(word, str):
        return None
    return next(iter(difflib.get_close_matches(word, list(known), n=1, cutoff=0.65)), None)


def shown(value: object) -> str:
    """A value as it would stand in the config, short enough for one line; what holds others is only named."""
    if isinstance(value, str):
        return json.dumps(value if len(value) <= LONGEST_SHOWN else value[:LONGEST_SHOWN] + "…", ensure_ascii=False)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**LONGEST_SHOWN:
        return "a number of many digits"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        plain = len(value) <= MOST_LISTED and all(isinstance(item, bool | int | float) for item in value)
        return f"[{', '.join(shown(item) for item in value)}]" if plain else "a list"
    return str(value)


def unknown(what: str, word: str, known: Iterable[str]) -> str:
    """Of a name that somebody asks for: that there is none such, which there are, and which it may have meant."""
    names = list(known)
    meant = nearest(word, names)
    hint = f"; did you mean {meant}?" if meant else ""
    return printable(f"unknown {what} {shown(word)}; known: {listing(names)}{hint}")


def printable(text: str) -> str:
    """The same text without control characters, line ends or half characters."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)


def one_of(names: Iterable[str], none: str = "there are none") -> str:
    """What is allowed where a known name belongs."""
    known = list(names)
    return f"one of {listing(known)}" if known else none


def hours(minutes: float) -> str:
    """A length of time as people read it: 4 h 1 min."""
    whole, rest = divmod(round(minutes), 60)
    return f"{whole} h {rest} min" if rest else f"{whole} h"


def listing(names: Iterable[str]) -> str:
    """Known names for people: the first of them where there are many, "none" where there are none."""
    known = list(names)
    more = ", …" if len(known) > MOST_LISTED else ""
    return ", ".join(known[:MOST_LISTED]) + more or "none"
