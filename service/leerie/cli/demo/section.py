"""The house cut open: the sky above the roof, and behind the missing wall each room in the light that burns in it."""

from leerie import tint
from leerie.cli.demo import heaven, paint
from leerie.cli.demo.canvas import Box, Canvas, wrapped
from leerie.cli.demo.plan import ROOF, STREET, Plan
from leerie.cli.demo.seen import Seen, SeenLamp, SeenRoom
from leerie.tint import Rgb

STONE: Rgb = (92, 84, 80)
SLATE: Rgb = (58, 56, 66)
PAVEMENT: Rgb = (64, 62, 64)
CHOSEN: Rgb = (255, 255, 255)
SHADE = 0.16
"""How much darker the floor is than the ceiling."""
RIDGE = 4
"""Columns by which the ridge is shorter than the house on either side."""
NORTH, EAST, SOUTH, WEST = 1, 2, 4, 8
LINES = " │─└││┌├─┘─┴┐┤┬┼"
"""By the directions into which a line goes on."""
LIT, UNLIT = "▜██▛", "▔▔▔▔"
SMALL_LIT, SMALL_UNLIT = "▜▛", "▔▔"
FLAT = 9
"""Lines of a room up to which nothing stays free between its lamps and its name."""
TEXT = 10
"""Lines of a room that lamps and text take."""
TILE = 7
"""Columns that a lamp wants for its name and its level."""
CROWD = 6
"""No more people are drawn."""


def draw(canvas: Canvas, plan: Plan, seen: Seen) -> None:
    """On the whole canvas; the sky is there already."""
    _roof(canvas, plan.house, seen)
    canvas.fill(plan.house, _by_day(STONE, seen))
    canvas.fill(Box(0, plan.house.bottom, canvas.width, STREET), _by_day(PAVEMENT, seen))
    for name, box in plan.rooms.items():
        room = seen.rooms[name]
        if name in plan.outside:
            room = room._replace(wall=tint.mix(heaven.at(seen.sky, 0.0), room.wall, 0.6))
            _shelter(canvas, box, seen)
        _light(canvas, box, room)
        if name in plan.stairs:
            _steps(canvas, box)
        _furnish(canvas, box, room, chosen=name == seen.chosen)
    _walls(canvas, plan, seen)


def _by_day(material: Rgb, seen: Seen) -> Rgb:
    share = 0.5 + 0.5 * tint.daylight(seen.sky.elevation, seen.sky.cloud)
    return tint.mix((14, 15, 24), material, share)


def _roof(canvas: Canvas, house: Box, seen: Seen) -> None:
    """Two courses of slate that overhang the walls, and a chimney."""
    slate, top = _by_day(SLATE, seen), house.top - ROOF
    if not canvas.colours:
        canvas.put(house.left - 1, top + 1, "▁" * (house.width + 2))
        return
    ridge = house.width - 2 * RIDGE
    canvas.put(house.left + RIDGE, top, f"▗{'▄' * (ridge - 2)}▖", slate)
    canvas.put(house.left - 1, top + 1, f"{'▄' * RIDGE}▟{'█' * ridge}▙{'▄' * RIDGE}", slate)
    canvas.put(house.left + house.width // 6, top - 1, "▄▄", slate)
    canvas.put(house.left + house.width // 6, top, "██", slate)


def _light(canvas: Canvas, box: Box, room: SeenRoom) -> None:
    """The wall in the room's light, brightest below the ceiling, from which the light comes; all of it for one ink."""
    shade = tint.mix(room.wall, (0, 0, 0), SHADE)
    for line in reversed(range(box.height)):
        brighter = tint.mix(room.wall, (0, 0, 0), SHADE * line / box.height)
        shade = brighter if paint.is_pale(paint.ink(brighter)) == paint.is_pale(paint.ink(shade)) else shade
        canvas.fill(Box(box.left, box.top + line, box.width, 1), shade)


def _shelter(canvas: Canvas, box: Box, seen: Seen) -> None:
    """What keeps the rain off who stands before the door."""
    slate = _by_day(SLATE, seen)
    canvas.put(box.left, box.top - 1, "▄" * box.width + "▄", slate)
    canvas.fill(Box(box.left, box.bottom, box.width + 1, 1), _by_day(STONE, seen))
    for y in range(box.top, box.bottom):
        canvas.put(box.right, y, "▌", slate)


def _steps(canvas: Canvas, box: Box) -> None:
    """The underside of a flight of stairs, from the lower left to the upper right."""
    rise = max(0, min(box.height - TEXT, box.width // 2))
    for step in range(rise):
        y = box.bottom - 1 - step
        ground = canvas.ground(box.left, y)
        if ground is not None:
            run = box.width * step // rise
            canvas.fill(Box(box.left + run, y, box.width - run, 1), tint.mix(ground, (0, 0, 0), 0.22))


# ---- walls -----------------------------------------------------------------------------------------------------------


def _walls(canvas: Canvas, plan: Plan, seen: Seen) -> None:
    """Lines where the saw went; heavy ones around the room that the keys act on."""
    stone = _by_day(STONE, seen)
    line = tint.mix(stone, paint.PALE, 0.22)
    ways: dict[tuple[int, int], int] = {}
    for name, box in plan.rooms.items():
        if name not in plan.outside:
            _cut(ways, box)
    for (x, y), way in ways.items():
        canvas.put(x, y, LINES[way], line)
    _frame(canvas, plan.rooms[seen.chosen])


def _cut(ways: dict[tuple[int, int], int], box: Box) -> None:
    """Each cell of the wall around a room with the directions into which its line goes on."""
    left, right, top, bottom = box.left - 1, box.right, box.top - 1, box.bottom
    for y in (top, bottom):
        for x in range(left, right + 1):
            ways[x, y] = ways.get((x, y), 0) | (WEST if x > left else 0) | (EAST if x < right else 0)
    for x in (left, right):
        for y in range(top, bottom + 1):
            ways[x, y] = ways.get((x, y), 0) | (NORTH if y > top else 0) | (SOUTH if y < bottom else 0)


def _frame(canvas: Canvas, box: Box) -> None:
    canvas.put(box.left - 1, box.top - 1, f"┏{'━' * box.width}┓", CHOSEN)
    canvas.put(box.left - 1, box.bottom, f"┗{'━' * box.width}┛", CHOSEN)
    for y in range(box.top, box.bottom):
        canvas.put(box.left - 1, y, "┃", CHOSEN)
        canvas.put(box.right, y, "┃", CHOSEN)


# ---- in a room -------------------------------------------------------------------------------------------------------


def _furnish(canvas: Canvas, box: Box, room: SeenRoom, *, chosen: bool) -> None:
    """From the ceiling down: lamps, the room's name and state, why, and the people on the floor."""
    y = _lamps(canvas, box, room)
    left, width = box.left + 1, box.width - 2
    canvas.put(left, y, f"{'▸ ' if chosen else ''}{room.name}", paint.ink, bold=True, room=width)
    canvas.put(left, y + 1, room.standing, paint.of_state(room.state), room=width)
    beside = width - (2 * min(room.people, CROWD) + 1 if room.people else 0)
    for number, words in enumerate(wrapped(room.why, beside, min(3, box.bottom - y - 2))):
        if room.faults:
            canvas.label(left, y + 2 + number, words, paint.FAULT)
        else:
            canvas.put(left, y + 2 + number, words, paint.quiet)
    for number in range(min(room.people, CROWD)):
        x = box.right - 2 - 2 * number
        canvas.put(x, box.bottom - 1, "▲", paint.ink)
        if box.bottom - 2 > y + 1:
            canvas.put(x, box.bottom - 2, "●", paint.ink)


def _lamps(canvas: Canvas, box: Box, room: SeenRoom) -> int:
    """Under the ceiling: side by side, each over its words, or where they are too many for that close together. The
    line below them.
    """
    left, width = box.left + 1, box.width - 1
    step = width // max(1, len(room.lamps))
    if step >= TILE:
        for number, lamp in enumerate(room.lamps):
            _lamp(canvas, left + number * step, box.top, step - 1, lamp)
    else:
        for number, lamp in enumerate(room.lamps[: width // 3]):
            ink = lamp.colour if lamp.lit else paint.unlit
            canvas.put(left + 3 * number, box.top, SMALL_LIT if lamp.lit else SMALL_UNLIT, ink)
        words = ", ".join(f"{lamp.name} {lamp.level}" for lamp in room.lamps)
        for number, line in enumerate(wrapped(words, width - 1, 3)):
            canvas.put(left, box.top + 1 + number, line, paint.quiet)
    return box.top + (4 if box.height <= FLAT else 5)


def _lamp(canvas: Canvas, x: int, y: int, width: int, lamp: SeenLamp) -> None:
    canvas.put(x, y, LIT if lamp.lit else UNLIT, lamp.colour if lamp.lit else paint.unlit)
    canvas.put(x, y + 1, lamp.name, paint.quiet, room=width)
    canvas.put(x, y + 2, lamp.level, paint.ink, bold=lamp.lit, room=width)
    canvas.put(x, y + 3, lamp.white, paint.quiet, room=width)
