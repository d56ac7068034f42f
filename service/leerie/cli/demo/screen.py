"""The building in a terminal: the house cut open where there is room for it, else room by room."""

from rich.console import Console, ConsoleOptions, RenderResult

from leerie.cli.demo import foot, heaven, paint, palette, plan, rows, section
from leerie.cli.demo.canvas import Box, Canvas
from leerie.cli.demo.palette import Palette
from leerie.cli.demo.plan import Plan
from leerie.cli.demo.seen import Eyes, Seen
from leerie.cli.demo.stage import Stage

REASONS = 4, 8, 13
"""Lines for the reasons of the chosen room, under the house: at least, before rooms get higher, and at most."""
LONG = 50
"""Columns from which the date stands beside the clock."""
SMALL = 14
"""Lines below which head and foot take one each."""


class Screen:
    """Draws the stage, anew each time it is asked; as many columns and lines as there are."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._eyes = Eyes(stage)
        self._storeys = plan.storeys(stage.building)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        width, height = options.max_width, options.height or options.size.height
        yield from self.drawn(width, height, palette.of(console.color_system)).segments()

    def drawn(self, width: int, height: int, colours: Palette = palette.true) -> Canvas:
        """The stage as it is now, on so many columns and lines."""
        canvas = Canvas(width, height, colours)
        seen = self._eyes.look(max(1, width))
        house = self._house(width, height)
        if house is not None:
            self._draw_house(canvas, house, seen)
        else:
            self._draw_rows(canvas, seen)
        return canvas

    # ---- the house cut open ------------------------------------------------------------------------------------------

    def _house(self, width: int, height: int) -> Plan | None:
        """Reasons get lines enough for most rooms, then rooms get higher; what is left over reasons and sky share."""
        space = height - foot.height(width)
        least, usual, most = REASONS
        for reasons in range(usual, least - 1, -1):
            house = plan.fit(self._storeys, width, space - reasons)
            if house is not None:
                spare = house.house.top - plan.ROOF - plan.SKY
                more = min(most - reasons, spare // 2)
                return plan.fit(self._storeys, width, space - reasons - more)
        return None

    def _draw_house(self, canvas: Canvas, house: Plan, seen: Seen) -> None:
        below = house.house.bottom + plan.STREET
        heaven.expanse(canvas, seen.sky, house.house.top - plan.ROOF, house.house)
        heaven.strip(canvas, 0, 0, seen.sky)
        self._title(canvas, 1, seen)
        self._facts(canvas, 2, seen)
        section.draw(canvas, house, seen)
        foot_top = canvas.height - foot.height(canvas.width)
        foot.reasons(canvas, Box(0, below, canvas.width, foot_top - below), seen.rooms[seen.chosen])
        foot.draw(canvas, Box(0, foot_top, canvas.width, canvas.height - foot_top), self._stage)

    # ---- room by room ------------------------------------------------------------------------------------------------

    def _draw_rows(self, canvas: Canvas, seen: Seen) -> None:
        width, height = canvas.width, canvas.height
        head = 3 if height >= SMALL else 1
        least = 0 if height < 3 else 1
        each = rows.lines_each(len(seen.rooms), width, height - head - least)
        wanted = each * len(seen.rooms)
        tall = max(least, min(foot.height(width), height - head - wanted))
        middle = Box(0, head, width, height - head - tall)
        canvas.fill(Box(0, 0, width, head), heaven.at(seen.sky, 0.6))
        self._title(canvas, 0, seen)
        if head > 1:
            heaven.strip(canvas, 0, 1, seen.sky)
            self._facts(canvas, 2, seen)
        elif height > 1 and (said := foot.banner(self._stage)) is not None:
            foot.put_banner(canvas, 0, said)
        canvas.fill(middle, foot.NIGHT)
        if middle.height:
            rows.draw(canvas, middle, seen)
        if middle.height - wanted > 1:
            foot.reasons(canvas, Box(0, head + wanted, width, middle.height - wanted), seen.rooms[seen.chosen])
        if tall:
            foot.draw(canvas, Box(0, height - tall, width, tall), self._stage)

    # ---- above all that ----------------------------------------------------------------------------------------------

    def _title(self, canvas: Canvas, y: int, seen: Seen) -> None:
        local = seen.sky.local
        clock = f"{local:%a %d %b %Y}  {local:%H:%M}" if canvas.width >= LONG else f"{local:%H:%M}"
        name_room = canvas.width - len(clock) - 3
        canvas.put(1, y, self._stage.building.site.name, paint.ink, bold=True, room=name_room)
        canvas.put(max(0, canvas.width - len(clock) - 1), y, clock, paint.ink, bold=True)

    def _facts(self, canvas: Canvas, y: int, seen: Seen) -> None:
        said = foot.banner(self._stage)
        if said is not None:
            foot.put_banner(canvas, y, said)
        else:
            canvas.put(1, y, seen.sky.facts, paint.quiet, room=canvas.width - 2)
