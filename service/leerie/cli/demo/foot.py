"""Below the building: all reasons of the chosen room, what happened last, where to look on, and the keys."""

from zoneinfo import ZoneInfo

from rich.cells import cell_len

from leerie.cli.demo import paint
from leerie.cli.demo.canvas import Box, Canvas, Ink, cut, wrapped
from leerie.cli.demo.keys import KEYS, Key
from leerie.cli.demo.seen import SeenRoom
from leerie.cli.demo.stage import Stage
from leerie.daylight import civil
from leerie.tint import Rgb

NIGHT: Rgb = (17, 18, 26)
DESK: Rgb = (29, 30, 42)
KEY: Rgb = (255, 206, 130)
CUT: Rgb = (214, 150, 52)
DOWN: Rgb = (186, 70, 56)
FAULT: Rgb = (240, 104, 92)
APART = "  "
END = next(key for key in KEYS if key.key == "q")


def banner(stage: Stage) -> tuple[str, Rgb] | None:
    """What is to be seen at once, and its colour."""
    if not stage.daemon_up:
        cut = "" if stage.broker_up else " and the broker is cut"
        return f"leerie is down{cut}: lamps stay as they are, nobody decides", DOWN
    if not stage.broker_up:
        return "broker cut: no message gets through, lamps stay as they are", CUT
    return None


def put_banner(canvas: Canvas, y: int, said: tuple[str, Rgb]) -> None:
    text, ground = said
    canvas.label(0, y, cut(f" ■ {text}", canvas.width).ljust(canvas.width), ground)


def height(width: int) -> int:
    """Lines that the foot wants."""
    return 2 + len(_flow(width - 2, 2))


def draw(canvas: Canvas, box: Box, stage: Stage) -> None:
    """Keys first, then where to look on, then what happened last: as much as there are lines for."""
    canvas.fill(box, DESK)
    lines = _flow(box.width - 2, max(1, min(2, box.height - 2)))
    for number, keys in enumerate(lines):
        x = box.left + 1
        for key in keys:
            x = canvas.put(x, box.bottom - len(lines) + number, key.key, KEY, bold=True)
            x = canvas.put(x + 1, box.bottom - len(lines) + number, key.does, paint.quiet) + len(APART)
    above = box.height - len(lines)
    if above > 0:
        look_on = [stage.invitation, *([] if stage.page is None else [stage.page])]
        canvas.put(box.left + 1, box.top + above - 1, APART.join(look_on), paint.quiet, room=box.width - 2)
    if above > 1:
        _happened(canvas, Box(box.left + 1, box.top + above - 2, box.width - 2, 1), stage)


def _happened(canvas: Canvas, box: Box, stage: Stage) -> None:
    speed = f"×{stage.speed:g}"
    canvas.put(box.right - len(speed), box.top, speed, paint.quiet)
    room = box.width - len(speed) - 2
    if stage.happened:
        last = stage.happened[-1]
        at = civil.local(ZoneInfo(stage.building.site.timezone), last.at)
        canvas.put(box.left, box.top, f"{at:%H:%M}  {last.text}", paint.PALE, room=room)
    else:
        canvas.put(box.left, box.top, "look on with a client and a browser of your own:", paint.quiet, room=room)


def _flow(width: int, lines: int) -> list[list[Key]]:
    """As many keys as fit on so many lines, one of them that which ends it all."""
    kept = [key for key in KEYS if key is not END]
    while True:
        flowed: list[list[Key]] = [[]]
        used = 0
        for key in [*kept, END]:
            wide = cell_len(f"{key.key} {key.does}")
            if flowed[-1] and used + wide > width:
                flowed.append([])
                used = 0
            flowed[-1].append(key)
            used += wide + len(APART)
        if len(flowed) <= lines or not kept:
            return flowed[:lines]
        kept.pop()


# ---- the chosen room -------------------------------------------------------------------------------------------------


def reasons(canvas: Canvas, box: Box, room: SeenRoom) -> None:
    """Why the chosen room is as it is, from its state to each lamp, as far as there are lines."""
    canvas.fill(box, NIGHT)
    end = box.right - 1
    x = canvas.put(box.left + 1, box.top, f"▸ {room.name}", paint.PALE, bold=True, room=end - box.left - 1)
    x = canvas.put(x + 2, box.top, room.standing, paint.PALE, room=end - x - 2)
    heads = [" · ".join(room.reasons[:count]).removeprefix(f"{room.state}: ") for count in range(3)]
    beside = max(count for count, head in enumerate(heads) if count == 0 or x + 2 + cell_len(head) <= end)
    canvas.put(x + 2, box.top, heads[beside], paint.quiet, room=end - x - 2)
    folded: list[tuple[Ink, str]] = [(FAULT, line) for fault in room.faults for line in _hanging(fault, box.width - 6)]
    folded += [(paint.quiet, line) for reason in room.reasons[beside:] for line in _hanging(reason, box.width - 6)]
    space = box.height - 1
    for number, (ink, line) in enumerate(folded[:space]):
        last = number == space - 1 and len(folded) > space
        canvas.put(box.left + 3, box.top + 1 + number, f"… {len(folded) - number} lines more" if last else line, ink)


def _hanging(text: str, width: int) -> list[str]:
    first, *rest = wrapped(text, width, 3)
    return [first, *(f"  {line}" for line in rest)]
