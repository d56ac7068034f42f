"""Draws deploy/demo.svg, the demo on a winter evening: `.venv/bin/python tests/write_picture.py`."""

import re
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import groupby
from pathlib import Path
from typing import TypeAlias, TypeVar
from xml.sax.saxutils import escape
from zoneinfo import ZoneInfo

from leerie import config, report
from leerie.cli.demo import FIRST_DAY, FIRST_SECOND, SPEED, foot, paint, section
from leerie.cli.demo.canvas import Canvas, Cell
from leerie.cli.demo.screen import Screen
from leerie.cli.demo.stage import Stage
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.daylight import civil
from leerie.messages import Message, Outcome
from leerie.now import Now
from leerie.rehearsal.world import World
from leerie.runtime.clock import Clock
from leerie.tint import Rgb

PICTURE = Path(__file__).parent.parent / "deploy" / "demo.svg"
SEED = 24
DAY = FIRST_DAY + timedelta(days=1)
HELD, SEEN = 19 * 3600 + 30 * 60, 20 * 3600 + 5 * 60
"""Seconds after midnight."""

ACROSS, DOWN = 10, 20
"""Of a cell."""
EDGE = 12
FONT, BASE = 16, 15
ALIKE = 40
"""Inks that differ by no more in each channel are written together."""
WIDE = "\N{ZERO WIDTH SPACE}"
"""Stands for the right half of a wide character."""
Shape: TypeAlias = tuple[int, int, int, int]
"""Left, top, right, bottom within a cell."""
T = TypeVar("T")


def _shapes() -> dict[str, tuple[Shape, ...]]:
    """Block elements and lines."""
    left, right = (0, 0, ACROSS // 2, DOWN), (ACROSS // 2, 0, ACROSS, DOWN)
    top, bottom = (0, 0, ACROSS, DOWN // 2), (0, DOWN // 2, ACROSS, DOWN)
    blocks = {"█": ((0, 0, ACROSS, DOWN),), "▄": (bottom,), "▀": (top,), "▌": (left,), "▐": (right,)}
    blocks |= {"▜": (top, right), "▛": (top, left), "▟": (bottom, right), "▙": (bottom, left)}
    blocks |= {"▗": ((ACROSS // 2, DOWN // 2, ACROSS, DOWN),), "▖": ((0, DOWN // 2, ACROSS // 2, DOWN),)}
    blocks |= {"▔": ((0, 0, ACROSS, 2),), "▁": ((0, DOWN - 2, ACROSS, DOWN),)}
    ways = {character: way for way, character in enumerate(section.LINES) if way}
    blocks |= {character: _line(way, 1) for character, way in ways.items()}
    blocks |= {heavy: _line(ways[thin], 3) for heavy, thin in zip("┏━┓┃┗┛", "┌─┐│└┘", strict=True)}
    return blocks


def _line(way: int, thick: int) -> tuple[Shape, ...]:
    """From the middle of a cell to those of its sides to which it goes."""
    x, y = (ACROSS - thick) // 2, (DOWN - thick) // 2
    left, right = 0 if way & section.WEST else x, ACROSS if way & section.EAST else x + thick
    top, bottom = 0 if way & section.NORTH else y, DOWN if way & section.SOUTH else y + thick
    return (left, y, right, y + thick), (x, top, x + thick, bottom)


SHAPES = _shapes()


class Halted(Clock):
    """A clock that stands until it is put forward."""

    def __init__(self, wall: int, speed: float) -> None:
        super().__init__(speed, wall)
        self.wall = wall

    def now(self) -> Now:
        return Now(self.wall // 1_000, self.wall)


class Play:
    """The real controller among the demo's people, in time of its own and without a broker."""

    def __init__(self, building: Building, seed: int, start: int, speed: float = SPEED) -> None:
        """`start`: µs UTC."""
        self._clock = Halted(start, speed)
        self._world = World(building, seed)
        self._zone = ZoneInfo(building.site.timezone)
        self._controller = Controller(building, {}, "one boot")
        self._topics = building.broker.topics
        self.stage = Stage(building, self._clock, seed)
        self._controller.linked(self._clock.now())
        for reading in self._world.standing(start):
            self._apply(self._controller.receive(Message(reading.topic, reading.payload, True), self._clock.now()))
        self._apply(self._controller.settled(self._clock.now()))

    def until(self, end: int) -> None:
        """Let time pass to that instant (µs UTC), and the sensors speak."""
        for reading in self._world.readings(self._clock.wall, end):
            self._pass(reading.at)
            self.say(reading.topic, reading.payload)
        self._pass(end)

    def say(self, topic: str, payload: bytes) -> None:
        self._apply(self._controller.receive(Message(topic, payload), self._clock.now()))

    def _pass(self, end: int) -> None:
        while (due := self._controller.due()) is not None and due * 1_000 <= end:
            self._clock.wall = max(self._clock.wall, due * 1_000)
            self._apply(self._controller.advance(self._clock.now()))
        self._clock.wall = end

    def _apply(self, outcome: Outcome) -> None:
        for publish in outcome.commands:
            self.stage.take(publish.topic, publish.payload)
            self._controller.acknowledged(publish.ticket, True, self._clock.now())
        for view in outcome.rooms:
            self.stage.take(f"{self._topics}/room/{view.room}/state", report.room_state(view, self._zone))
        if outcome.sky is not None:
            self.stage.take(f"{self._topics}/sky", report.sky(outcome.sky, self._zone))


def at(building: Building, day: date, second: int) -> int:
    """µs UTC."""
    return civil.moment(ZoneInfo(building.site.timezone), day, second)


# ---- a canvas as a picture -------------------------------------------------------------------------------------------


def svg(canvas: Canvas, title: str) -> str:
    """Grounds, then blocks and lines as shapes, which no font can leave gaps in, then text in whatever monospace."""
    width, height = canvas.width * ACROSS, canvas.height * DOWN
    shapes: dict[str, list[str]] = {}
    words: list[str] = []
    for y, line in enumerate(canvas.lines):
        for first, last, ground in _alike([cell.ground for cell in line]):
            _rect(shapes, ground or foot.NIGHT, first * ACROSS, y * DOWN, (last - first) * ACROSS, DOWN)
    for y, line in enumerate(canvas.lines):
        for first, last, (text, ink, _) in _alike([(cell.text, cell.ink, cell.bold) for cell in line]):
            for left, top, right, bottom in SHAPES.get(text, ()):
                across = (last - first - 1) * ACROSS + right - left if right - left == ACROSS else right - left
                for x in range(first, last if across == right - left else first + 1):
                    _rect(shapes, ink, x * ACROSS + left, y * DOWN + top, across, bottom - top)
        words += _words(y, line)
    paths = [f'<path fill="{fill}" d="{"".join(path)}"/>' for fill, path in shapes.items()]
    frame = f'viewBox="{-EDGE} {-EDGE} {width + 2 * EDGE} {height + 2 * EDGE}" width="{width + 2 * EDGE}"'
    return "\n".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" {frame} role="img" font-family="monospace" font-size="{FONT}">',
            f"<title>{title}</title>",
            f'<rect x="{-EDGE}" y="{-EDGE}" width="{width + 2 * EDGE}" height="{height + 2 * EDGE}" rx="{EDGE}" '
            f'fill="{_hex(foot.NIGHT)}" stroke="#667" stroke-width="1"/>',
            '<g shape-rendering="crispEdges">',
            *paths,
            "</g>",
            *words,
            "</svg>",
            "",
        )
    )


def _alike(line: list[T]) -> Iterator[tuple[int, int, T]]:
    """Stretches of a line that are the same: the first column, the one after the last, and what is there."""
    first = 0
    for value, cells in groupby(line):
        last = first + len(list(cells))
        yield first, last, value
        first = last


def _rect(shapes: dict[str, list[str]], fill: Rgb | None, left: int, top: int, width: int, height: int) -> None:
    shapes.setdefault(_hex(fill or paint.PALE), []).append(f"M{left} {top}h{width}v{height}h{-width}z")


def _words(y: int, line: list[Cell]) -> Iterator[str]:
    """Text that looks alike together, in pieces where it is far apart."""
    for first, last in _runs(line):
        look = line[first]
        bold = ' font-weight="bold"' if look.bold else ""
        run = "".join(cell.text or WIDE for cell in line[first:last])
        for piece in re.finditer(r"[^ ]+( [^ ]+)*", run):
            x, across = (first + piece.start()) * ACROSS, len(piece[0]) * ACROSS
            place = f'x="{x}" y="{y * DOWN + BASE}" textLength="{across}" lengthAdjust="spacingAndGlyphs"'
            text = escape(piece[0].replace(WIDE, ""))
            yield f'<text {place} fill="{_hex(look.ink or paint.PALE)}"{bold}>{text}</text>'


def _runs(line: list[Cell]) -> Iterator[tuple[int, int]]:
    """Stretches of text in about one ink: what is written on a sky has a little other ink in each cell."""
    first = 0
    for x in range(1, len(line) + 1):
        if x == len(line) or not _goes_on(line[first], line[x]):
            if line[first].text not in SHAPES:
                yield first, x
            first = x


def _goes_on(before: Cell, cell: Cell) -> bool:
    if before.bold != cell.bold or (before.text in SHAPES) != (cell.text in SHAPES):
        return False
    apart = zip(before.ink or paint.PALE, cell.ink or before.ink or paint.PALE, strict=True)
    return all(abs(one - other) <= ALIKE for one, other in apart)


def _hex(rgb: Rgb) -> str:
    red, green, blue = rgb
    return f"#{red:02x}{green:02x}{blue:02x}"


def picture() -> str:
    """A winter evening: one goes up from the workshop to the kitchen, and somebody holds the shop's light."""
    building = config.load(Path(config.__file__).with_name("example.toml"), {}).building
    play = Play(building, SEED, at(building, DAY, FIRST_SECOND))
    play.until(at(building, DAY, HELD))
    play.say(f"{building.broker.topics}/room/shop/hold", b'{"hold": true, "level": 0.7, "for": "2h"}')
    play.until(at(building, DAY, SEEN))
    play.stage.page = "http://127.0.0.1:9464/metrics"
    play.stage.chosen = "workshop"
    return svg(Screen(play.stage).drawn(120, 40), "leerie demo")


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
