"""Three rooms in which a hold, an ask and a grace run, all of them short; and what people and sensors say to them."""

from collections.abc import Mapping
from pathlib import Path
from random import Random
from typing import Literal

import msgspec

CONFIG = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
[broker]
port = {port}
[service]
metrics = ""
log = "json"
{folder}
[day_parts.always]
starts = "00:00"
"""
ROOM = """
[sensors.{name}_radar]
kind = "presence"
topic = "radar/{name}"
[fixtures.{name}_lamp]
kind = "tunable"
topic = "lamps/{name}"
payload = {{ lamp = "$on", out = "$byte", white = "$kelvin" }}
[rooms.{name}]
sensors = ["{name}_radar"]
fixtures = ["{name}_lamp"]
confirm = "0s"
grace = "{grace_s}s"
warn = {{ before = "2s", level = 0.5 }}
relight = "0s"
[rooms.{name}.scenes]
always = {{ {name}_lamp = {{ level = 0.8, kelvin = 4000 }} }}
"""
GRACES_S = {"bench": 20, "desk": 9, "store": 6}
"""By room: in `bench` it is held, in `desk` asked, in `store` people come and go."""


def config(folder: Path, port: int, *, keeps: bool) -> Path:
    """The house's config; `keeps`: records go to the folder, too."""
    path = folder / "leerie.toml"
    state = f'state_dir = "{folder / "state"}"' if keeps else ""
    rooms = "".join(ROOM.format(name=name, grace_s=grace_s) for name, grace_s in GRACES_S.items())
    path.write_text(CONFIG.format(port=port, folder=state) + rooms)
    return path


class Saying(msgspec.Struct, frozen=True):
    """Something that is said to a room."""

    room: str
    kind: Literal["presence", "hold", "ask", "bias"]
    payload: str
    commands: bool = False
    """The room's lamp will be told, whatever it was told before."""

    @property
    def topic(self) -> str:
        return f"radar/{self.room}" if self.kind == "presence" else f"leerie/room/{self.room}/{self.kind}"

    @property
    def takes_over(self) -> bool:
        """It may end a hands-off hold, or replace it."""
        return self.kind in ("hold", "ask")


def draw(chance: Random, held: bool, occupancies: Mapping[str, str]) -> Saying:
    """What is said next, by how the rooms stand: each of hold, ask and grace is brought back when it is over."""
    room = chance.choice(tuple(GRACES_S))
    if room == "bench":
        return _hold(chance, held)
    kind = chance.choice((*(("ask",) if room == "desk" else ()), "bias", "presence"))
    if kind == "presence" and occupancies[room] == "grace" and chance.random() < 0.7:
        kind = "bias"  # a grace that is cut short has no end to look at
    if kind == "ask":
        return Saying(room, "ask", chance.choice(("light", "dark")), commands=True)
    if kind == "bias":  # a wish; with it, all else is written down, too
        return Saying(room, "bias", f'{{"bias": {chance.randint(-8, 8) / 10}, "for": "ever"}}')
    return Saying(room, "presence", "false" if occupancies[room] == "occupied" else "true")


def _hold(chance: Random, held: bool) -> Saying:
    if held and chance.random() < 0.2:
        return Saying("bench", "hold", "end", commands=True)
    length = f'"for": "{chance.randint(3, 14)}s"'
    if chance.random() < 0.2:
        return Saying("bench", "hold", f'{{"hold": true, {length}, "level": {chance.randint(1, 9) / 10}}}')
    return Saying("bench", "hold", f'{{"hold": true, {length}}}')
