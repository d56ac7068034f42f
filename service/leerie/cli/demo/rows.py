"""The building room by room, two lines each, every room on a band of the light that is in it."""

from leerie.cli.demo import paint
from leerie.cli.demo.canvas import Box, Canvas, cut
from leerie.cli.demo.seen import Seen, SeenLamp, SeenRoom

WIDE = 72
"""Columns from which a room and its lamps stand on one line."""
WHITES = 104
"""Columns from which the lamps' white stands beside their level."""
PEOPLE = 4
STATE, NARROW = 21, 9
"""Columns for the state: with its end, and without."""
LIT, UNLIT = "██", "▁▁"


def lines_each(rooms: int, width: int, height: int) -> int:
    """How many lines a room gets; 1 where there are not enough even for that."""
    return min(2 if width >= WIDE else 3, max(1, height // rooms))


def draw(canvas: Canvas, box: Box, seen: Seen) -> None:
    """All rooms; where they are too many, those around the chosen one."""
    rooms = list(seen.rooms.values())
    each = lines_each(len(rooms), box.width, box.height)
    shown = max(1, box.height // each)
    chosen = list(seen.rooms).index(seen.chosen)
    first = max(0, min(chosen - shown // 2, len(rooms) - shown))
    name = min(max(len(room.name) for room in rooms), max(8, box.width // 4))
    for number, room in enumerate(rooms[first : first + shown]):
        band = Box(box.left, box.top + number * each, box.width, min(each, box.bottom - box.top - number * each))
        canvas.fill(band, room.wall)
        _room(canvas, band, room, name, chosen=room.name == seen.chosen)


def _room(canvas: Canvas, band: Box, room: SeenRoom, name: int, *, chosen: bool) -> None:
    for line in range(band.height if chosen else 0):
        canvas.put(band.left, band.top + line, "▌", paint.PALE)
    mark = "▸" if chosen else " "
    x = canvas.put(band.left + 1, band.top, f"{mark}{cut(room.name, name):<{name}} ", paint.ink, bold=True)
    people = "▲" * room.people if room.people <= PEOPLE - 1 else f"{room.people}▲"
    x = canvas.put(x, band.top, f"{people:<{PEOPLE}}", paint.ink)
    state = paint.of_state(room.state)
    if band.width >= WIDE:
        canvas.put(x, band.top, room.standing, state, room=STATE)
        _lamps(canvas, x + STATE + 1, band.top, band.right - x - STATE - 2, room, whites=band.width >= WHITES)
        _why(canvas, band, 1, room)
    elif band.height > 1:
        canvas.put(x, band.top, room.standing, state, room=band.right - x)
        _lamps(canvas, band.left + 3, band.top + 1, band.width - 4, room, whites=False)
        _why(canvas, band, 2, room)
    else:
        canvas.put(x, band.top, room.standing, state, room=NARROW)
        _lamps(canvas, x + NARROW + 1, band.top, band.right - x - NARROW - 1, room, whites=False)


def _lamps(canvas: Canvas, x: int, y: int, width: int, room: SeenRoom, *, whites: bool) -> None:
    """Each lamp as a block in its own light; beside it its name, level and white. Those without a place are counted."""
    end = x + width
    for number, lamp in enumerate(room.lamps):
        words = f" {lamp.name} {lamp.level}" + (f" {lamp.white}" if whites and lamp.white else "")
        left = len(room.lamps) - number
        if x + len(LIT + words) > end - (len(" +1") if left > 1 else 0):
            words = ""
        if x + len(LIT) > end - (len(" +1") if left > 1 else 0):
            canvas.put(x, y, f"+{left}", paint.quiet, room=end - x)
            return
        x = _lamp(canvas, x, y, lamp, words) + 1


def _lamp(canvas: Canvas, x: int, y: int, lamp: SeenLamp, words: str) -> int:
    x = canvas.put(x, y, LIT if lamp.lit else UNLIT, lamp.colour if lamp.lit else paint.unlit)
    return canvas.put(x, y, words, paint.ink if lamp.lit else paint.quiet, bold=lamp.lit)


def _why(canvas: Canvas, band: Box, line: int, room: SeenRoom) -> None:
    if line < band.height:
        x, y, end = band.left + 3, band.top + line, band.right - 1
        for fault in room.faults[:1]:
            x = canvas.label(x, y, cut(fault, end - x), paint.FAULT) + 1
        # The day part, which the head tells too, comes last.
        reasons = dict.fromkeys([room.first_reason, *room.reasons[2:], *room.reasons[1:2]])
        canvas.put(x, y, " · ".join(filter(None, reasons)), paint.quiet, room=end - x)
