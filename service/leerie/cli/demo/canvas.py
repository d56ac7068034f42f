"""A rectangle of terminal cells to draw on. Whatever is put on it, it never grows."""

import unicodedata
from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import NamedTuple, TypeAlias

from rich.cells import cell_len
from rich.color import Color
from rich.segment import Segment
from rich.style import Style

from leerie.cli.demo import paint, palette
from leerie.cli.demo.palette import Palette
from leerie.config.problems import printable
from leerie.tint import Rgb

ELLIPSIS = "…"


Ink: TypeAlias = Rgb | Callable[[Rgb], Rgb] | None
"""A colour, or what makes one of the colour behind it."""


class Cell(NamedTuple):
    text: str
    """One character; empty: the right half of the wide one before."""
    ink: Rgb | None
    ground: Rgb | None
    bold: bool


EMPTY = Cell(" ", None, None, False)


class Box(NamedTuple):
    """A part of the canvas: columns from `left` and lines from `top`."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """The first column after it."""
        return self.left + self.width

    @property
    def bottom(self) -> int:
        """The first line after it."""
        return self.top + self.height


class Canvas:
    """Colours are those of the palette; without any, characters and bold are what is left."""

    def __init__(self, width: int, height: int, palette: Palette = palette.true) -> None:
        self.width, self.height = width, height
        self._palette = palette
        self.lines = [[EMPTY] * width for _ in range(height)]
        """Cells by line and column."""

    @property
    def colours(self) -> bool:
        """Whether it has any."""
        return self._palette(paint.INK) is not None

    def ground(self, x: int, y: int) -> Rgb | None:
        """The colour behind a cell; None: the terminal's own, or off the canvas."""
        inside = 0 <= x < self.width and 0 <= y < self.height
        return self.lines[y][x].ground if inside else None

    def fill(self, box: Box, ground: Rgb) -> None:
        """Nothing but that colour."""
        cell = Cell(" ", None, self._palette(ground), False)
        left, right = max(0, box.left), min(self.width, box.right)
        for y in range(max(0, box.top), min(self.height, box.bottom)):
            line = self._severed(y, box.left, box.right)
            line[left:right] = [cell] * max(0, right - left)

    def put(self, x: int, y: int, text: str, ink: Ink = None, *, bold: bool = False, room: int | None = None) -> int:
        """Write over what is there, leaving the colour behind it; cut to `room` columns. The column after it."""
        end = self.width if room is None else min(self.width, x + room)
        for character in cut(text, end - x):
            x = self._set(x, y, character, ink, bold)
        return x

    def label(self, x: int, y: int, text: str, ground: Rgb) -> int:
        """Text on a ground of its own. The column after it."""
        self.fill(Box(x, y, cell_len(plain(text)), 1), ground)
        return self.put(x, y, text, paint.ink, bold=True)

    def _set(self, x: int, y: int, character: str, ink: Ink, bold: bool) -> int:
        end = x + cell_len(character)
        if not 0 <= y < self.height:
            return end
        line = self._severed(y, x, end)
        for at in range(max(0, x), min(self.width, end)):
            ground = line[at].ground
            colour = ink(ground) if callable(ink) and ground is not None else ink
            shown = None if callable(colour) or colour is None else self._palette(colour)
            line[at] = Cell(character if at == x else "" if x >= 0 else " ", shown, ground, bold)
        return end

    def _severed(self, y: int, left: int, right: int) -> list[Cell]:
        """The line, in which no wide character stands across these two edges any more."""
        line = self.lines[y]
        for edge in (left, right):
            if 0 < edge < self.width and not line[edge].text:
                line[edge - 1], line[edge] = line[edge - 1]._replace(text=" "), line[edge]._replace(text=" ")
        return line

    def segments(self) -> Iterator[Segment]:
        """Line by line, cells that look alike together."""
        for number, line in enumerate(self.lines):
            run, before = "", line[0] if line else EMPTY
            for cell in line:
                if cell[1:] != before[1:]:
                    yield Segment(run, _style(*before[1:]))
                    run = ""
                run, before = run + cell.text, cell
            yield Segment(run, _style(*before[1:]))
            if number + 1 < self.height:
                yield Segment.line()


def plain(text: str) -> str:
    """Characters with cells of their own: what controls is spelt out, what combines is composed or left out."""
    return "".join(character for character in unicodedata.normalize("NFC", printable(text)) if cell_len(character))


def cut(text: str, columns: int) -> str:
    """As much of a text as fits, with an ellipsis where something is missing."""
    if text.isascii() and text.isprintable() and len(text) <= columns:
        return text
    text = plain(text)
    if cell_len(text) <= columns:
        return text
    while text and cell_len(text) > columns - 1:
        text = text[:-1]
    return text.rstrip() + ELLIPSIS if columns > 0 else ""


def wrapped(text: str, columns: int, lines: int) -> list[str]:
    """The text on at most so many lines of at most so many columns, broken between words; what is left over is cut."""
    words, folded = plain(text).split(), [""]
    for place, word in enumerate(words):
        longer = f"{folded[-1]} {word}".strip()
        if cell_len(longer) <= columns or not folded[-1]:
            folded[-1] = longer
        elif len(folded) == lines:
            folded[-1] = " ".join([folded[-1], *words[place:]])
            break
        else:
            folded.append(word)
    return [cut(line, columns) for line in folded[:lines]]


@lru_cache(maxsize=8192)
def _style(ink: Rgb | None, ground: Rgb | None, bold: bool) -> Style:
    return Style(
        color=None if ink is None else Color.from_rgb(*ink),
        bgcolor=None if ground is None else Color.from_rgb(*ground),
        bold=bold or None,
    )
