"""The building in a terminal: the day as a strip of sky, and each room with its state, its lamps and the reason why."""

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from rich.console import Console, ConsoleOptions, RenderResult
from rich.segment import Segment
from rich.style import Style
from rich.text import Text

from leerie import colour
from leerie.cli.demo.stage import Stage
from leerie.config.building import Room
from leerie.daylight import civil, sun
from leerie.rehearsal.lamps import Glow

DAY_S = 86_400
WIDE = 100
"""Columns from which there is room for the lamps' white."""
PERSON = "▲"
SKY = (
    (-18.0, (10, 12, 30)),
    (-6.0, (38, 44, 92)),
    (-1.0, (206, 110, 70)),
    (4.0, (236, 190, 120)),
    (12.0, (120, 178, 226)),
)
"""Colour of the strip by the sun's elevation in degrees; to taste."""
STATES = {"vacant": "dim", "arriving": "bold cyan", "occupied": "bold green", "grace": "yellow", "hold": "bold magenta"}


class Screen:
    """Draws the stage, anew each time it is asked; as many columns and lines as there are."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._zone = ZoneInfo(stage.building.site.timezone)
        self._longest = max(map(len, stage.building.rooms))

    def __rich_console__(self, _console: Console, options: ConsoleOptions) -> RenderResult:
        width, height = options.max_width, options.height or options.size.height
        lines = [*self._head(width), *self._rooms(width, height - 5), *self._foot(width)]
        for number, line in enumerate(lines[:height]):
            line.truncate(width, overflow="ellipsis")
            yield from line.render(_console, end="")
            if number + 1 < min(height, len(lines)):
                yield Segment.line()

    # ---- head and foot -----------------------------------------------------------------------------------------------

    def _head(self, width: int) -> list[Text]:
        local = civil.local(self._zone, self._stage.wall())
        sky = self._stage.sky
        left = Text.assemble((f" {self._stage.building.site.name}", "bold"))
        right = Text.assemble((f"{local:%a %d %b %Y} ", "dim")).append(f"{local:%H:%M} ", style="bold")
        about = f"  day part {sky.get('day_part') or '–'}"
        if sky:
            cloud = sky["cloud"]
            about += f"   sun {sky['sun_elevation']:+.1f}°   outdoors {sky['outdoor_lux']:g} lx"
            about += f"   cloud {cloud:.0%}" if cloud is not None else ""
        return [_apart(left, right, width), self._strip(local, width), Text.assemble((about[1:], "dim"))]

    def _strip(self, local: datetime, width: int) -> Text:
        """The local day from midnight to midnight in the sky's colours, and where in it we are."""
        inner = max(10, width - 2)
        midnight = civil.moment(self._zone, local.date(), 0)
        here = int((local.hour * 3600 + local.minute * 60 + local.second) * inner / DAY_S)
        quarters = [inner * quarter // 4 for quarter in (1, 2, 3)]
        strip = Text(" ")
        for cell in range(inner):
            at = midnight + (2 * cell + 1) * DAY_S * civil.SECOND_US // (2 * inner)
            red, green, blue = _sky(sun.position(self._stage.building.site, at).elevation)
            mark = "█" if cell == here else "·" if cell in quarters else " "
            strip.append(mark, Style.parse(f"#ffffff on rgb({red},{green},{blue})"))
        return strip

    def _foot(self, width: int) -> list[Text]:
        left = Text.assemble((f" {PERSON} a person   {self._stage.invitation}", "dim"))
        return [_apart(left, Text.assemble((f"×{self._stage.speed:g}  Ctrl-C ends ", "dim")), width)]

    # ---- rooms -------------------------------------------------------------------------------------------------------

    def _rooms(self, width: int, height: int) -> list[Text]:
        """Two lines a room, a third between them where there is space; where there is none for two, one."""
        rooms = list(self._stage.building.rooms.values())
        each = min(3, max(1, height // len(rooms)))
        lines: list[Text] = []
        for room in rooms:
            lines += [self._room(room, width), self._why(room), Text("")][:each]
        space = height - len(lines)
        return ([Text("")] if space > 0 else []) + lines + [Text("")] * max(0, space - 1)

    def _room(self, room: Room, width: int) -> Text:
        state = self._stage.rooms.get(room.name)
        name = Text.assemble((f" {room.name:<{self._longest}} ", "bold"))
        name.append(f"{PERSON * self._stage.people_in(room.name):<4}", style="bold white")
        if state is None:
            return name.append("not heard yet", style="dim")
        until = state["until"]
        name.append(f"{state['state']:<9}", style=STATES[state["state"]])
        name.append(f"{'→ ' + self._clock(until) if until else '':<8}", style="dim")
        told = state["fixtures"] or {}
        lamps = [self._lamp(room, fixture, told.get(fixture), width) for fixture in room.fixtures]
        return name.append_text(Text("  " if width >= WIDE else " ").join(lamps))

    def _lamp(self, room: Room, fixture: str, told: Mapping[str, Any] | None, width: int) -> Text:
        """The lamp itself as a block in its own light; beside it the level that leerie has asked for."""
        glow = self._stage.glow(fixture)
        text = Text.assemble(("▕██▏" if glow.light else "▕  ▏", _light(glow)))
        text.append(" " + _short(fixture, room.name) + " ", style="" if glow.light else "dim")
        if told is None:
            return text.append("–", style="dim")
        if not told["on"]:
            return text.append("off", style="dim")
        switched = self._stage.building.fixtures[fixture].kind == "switched"
        text.append("on" if switched else f"{told['level']:.2f}", style="bold")
        if told["kelvin"] and width >= WIDE:
            text.append(f" {told['kelvin']} K", style="dim")
        return text

    def _why(self, room: Room) -> Text:
        state = self._stage.rooms.get(room.name)
        if state is None:
            return Text("")
        faults = [fault["text"] for fault in state["faults"]]
        because = state["because"]
        # The day part, which the head tells too, comes last.
        words = " · ".join([*faults, *because[:1], *because[2:], *because[1:2]])
        return Text.assemble((f"   {words}", "red" if faults else "dim"))

    def _clock(self, moment: str) -> str:
        return f"{datetime.fromisoformat(moment).astimezone(self._zone):%H:%M}"


def _short(fixture: str, room: str) -> str:
    """Without its first word where that only repeats the room's."""
    first, _, rest = fixture.partition("_")
    return rest if rest and room.startswith(first) else fixture


def _apart(left: Text, right: Text, width: int) -> Text:
    return left.append(" " * max(1, width - left.cell_len - right.cell_len)).append_text(right)


def _light(glow: Glow) -> Style:
    """A light's own colour, as bright as it looks: perceived brightness goes with the root of light."""
    if not glow.light:
        return Style(dim=True)
    if glow.rgb is not None:
        channels = tuple(value / 255 for value in glow.rgb)
    else:
        channels = colour.rgb(*colour.chromaticity(glow.kelvin or 2700))
    level = 0.12 + 0.88 * math.sqrt(min(1.0, glow.light))
    red, green, blue = (round(255 * level * channel) for channel in channels)
    return Style.parse(f"rgb({red},{green},{blue})")


def _sky(elevation: float) -> tuple[int, int, int]:
    low = max((step for step in SKY if step[0] <= elevation), default=SKY[0])
    high = min((step for step in SKY if step[0] > elevation), default=low)
    share = 0.0 if high is low else max(0.0, (elevation - low[0]) / (high[0] - low[0]))
    red, green, blue = (round(a + share * (b - a)) for a, b in zip(low[1], high[1], strict=True))
    return red, green, blue
