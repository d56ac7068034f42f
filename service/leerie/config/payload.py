"""A lamp's payload, taken apart once: constant parts and placeholders.

A table becomes JSON, a string text, a lone placeholder its bare value or word. A placeholder alone keeps its type,
inside a longer string it becomes text, `$$` is a dollar.
"""

from collections.abc import Mapping
from typing import TypeAlias

import msgspec

from leerie.config.problems import NotAllowedError, nearest, shown

PLACEHOLDERS = (
    "on", "level", "percent", "byte", "arc", "kelvin", "mired", "raw", "x", "y", "red", "green", "blue", "fade",
)  # fmt: skip
LEVEL_PLACEHOLDERS = ("level", "percent", "byte", "arc", "raw")


class Slot(msgspec.Struct, frozen=True):
    """A placeholder."""

    name: str


class Text(msgspec.Struct, frozen=True):
    """Constant text with placeholders in it."""

    pieces: tuple[str | Slot, ...]


Node: TypeAlias = "Slot | Text | str | int | float | bool | tuple[Node, ...] | Mapping[str, Node]"


class Template(msgspec.Struct, frozen=True):
    root: Node
    json: bool
    """The root is a table and goes out as JSON."""
    names: tuple[str, ...]
    """The placeholders in it, in order, each once."""


def parse(payload: object) -> Template:
    """Take a payload apart. Raises NotAllowedError, which names an unknown placeholder and the known ones."""
    names: list[str] = []
    root = _node(payload, names)
    return Template(root, isinstance(payload, Mapping), tuple(dict.fromkeys(names)))


def _node(value: object, names: list[str]) -> Node:
    if isinstance(value, str):
        return _text(value, names)
    if isinstance(value, Mapping):
        return {str(key): _node(item, names) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return tuple(_node(item, names) for item in value)
    if isinstance(value, bool | int | float):
        return value
    raise NotAllowedError(f"{shown(value)} cannot be sent", "text, numbers, true, false, lists and tables of them")


def _text(text: str, names: list[str]) -> Node:
    pieces: list[str | Slot] = []
    plain = ""
    position = 0
    while position < len(text):
        char = text[position]
        if char != "$":
            plain += char
            position += 1
        elif text.startswith("$$", position):
            plain += "$"
            position += 2
        else:
            name = _name_at(text, position + 1)
            if plain:
                pieces.append(plain)
                plain = ""
            pieces.append(Slot(name))
            names.append(name)
            position += 1 + len(name)
    if plain:
        pieces.append(plain)
    if len(pieces) == 1:
        return pieces[0]
    return Text(tuple(pieces)) if pieces else ""


def _name_at(text: str, start: int) -> str:
    end = start
    while end < len(text) and text[end].isascii() and text[end].isalpha():
        end += 1
    name = text[start:end]
    if name not in PLACEHOLDERS:
        known = [f"${placeholder}" for placeholder in PLACEHOLDERS]
        allowed = f"{', '.join(known)}, $$ for a dollar"
        raise NotAllowedError(f"unknown placeholder ${name}", allowed, nearest(f"${name}", known))
    return name
