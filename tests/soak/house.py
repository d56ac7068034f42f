"""A generated house, and what its sensors and people keep saying, some of it nonsense."""

from pathlib import Path
from random import Random
from typing import NamedTuple

ROOMS = 50
PROBES = 10
"""Quiet rooms beside them, by whose lamps it is measured how long a presence takes to become a command."""
GRACE_S = 8
HEAD = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
[broker]
port = {port}
[service]
metrics = "127.0.0.1:{page}"
state_dir = "{folder}/state"
refresh = "1m"
log = "json"
[day_parts.always]
starts = "00:00"
"""
ROOM = """
[sensors.radar{n}]
kind = "presence"
topic = "radar/{n}"
[sensors.pir{n}]
kind = "motion"
topic = "pir/{n}"
clears = "2s"
[sensors.door{n}]
kind = "door"
topic = "door/{n}"
[sensors.button{n}]
kind = "button"
topic = "button/{n}"
does = {{ short = "ask light", double = "ask dark", long = "hold toggle", up = "raise", down = "lower" }}
[fixtures.bench{n}]
kind = "tunable"
topic = "lamps/bench{n}"
payload = {{ lamp = "$on", out = "$level", white = "$kelvin" }}
curve = "square"
[fixtures.shelf{n}]
kind = "dimmable"
topic = "lamps/shelf{n}"
payload = {{ lamp = "$on", out = "$level" }}
curve = "square"
[fixtures.sign{n}]
kind = "switched"
topic = "lamps/sign{n}"
payload = {{ lamp = "$on" }}
[rooms.room{n}]
sensors = ["radar{n}", "pir{n}", "door{n}", "button{n}"]
fixtures = ["bench{n}", "shelf{n}", "sign{n}"]
confirm = "1s"
pass_through = "{grace_s}s"
grace = "{grace_s}s"
warn = {{ before = "2s", level = 0.5 }}
relight = "3s"
hold_for = "{grace_s}s"
[rooms.room{n}.scenes]
always = {{ bench{n} = {{ follow = [0.4, 1.0], kelvin = {{ sun = [2700, 5000] }} }}, shelf{n} = 0.6 }}
vacant = {{ sign{n} = 1 }}
"""
PROBE = """
[sensors.eye{n}]
kind = "presence"
topic = "eye/{n}"
[fixtures.probe{n}]
kind = "dimmable"
topic = "probes/{n}"
payload = "$percent"
pace = 50
[rooms.probe{n}]
sensors = ["eye{n}"]
fixtures = ["probe{n}"]
confirm = "0s"
grace = "1s"
warn = false
relight = "0s"
[rooms.probe{n}.scenes]
always = {{ probe{n} = 0.5 }}
"""


class Word(NamedTuple):
    topic: str
    payload: bytes | str
    retained: bool = False


def config(folder: Path, port: int, page: int) -> Path:
    """The house's config; `page`: the metrics' port."""
    path = folder / "leerie.toml"
    rooms = "".join(ROOM.format(n=n, grace_s=GRACE_S) for n in range(ROOMS))
    probes = "".join(PROBE.format(n=n) for n in range(PROBES))
    path.write_text(HEAD.format(port=port, page=page, folder=folder) + rooms + probes)
    return path


def draw(chance: Random) -> Word:
    """Something that somebody or something says."""
    n = chance.randrange(ROOMS)
    share = chance.random()
    if share < 0.6:
        return Word(f"radar/{n}", chance.choice(("true", "false")), retained=n % 10 == 0)
    if share < 0.75:
        return Word(f"pir/{n}", "motion")
    if share < 0.85:
        return Word(f"door/{n}", chance.choice(("open", "closed")))
    if share < 0.9:
        return Word(f"button/{n}", chance.choice(("short", "double", "long", "up", "down", "triple")))
    return _nonsense(chance, n) if share < 0.95 else _wish(chance, f"leerie/room/room{n}")


def _nonsense(chance: Random, n: int) -> Word:
    topic = chance.choice(("radar/{}", "pir/{}", "door/{}", "button/{}", "leerie/room/room{}/hold", "nobody/{}"))
    payload = chance.choice(
        (b"\xff\xfe", b"perhaps", b"", b"[" * 2_000, b'{"hold": true, "level": NaN}', b"x" * 50_000)
    )
    return Word(topic.format(n), payload)


def _wish(chance: Random, room: str) -> Word:
    match chance.randrange(5):
        case 0:
            return Word(f"{room}/hold", f'{{"hold": true, "for": "{chance.randint(2, 20)}s"}}')
        case 1:
            return Word(f"{room}/hold", f'{{"hold": true, "for": "vacant", "level": {chance.random():.2f}}}')
        case 2:
            return Word(f"{room}/hold", "end")
        case 3:
            return Word(f"{room}/ask", chance.choice(("light", "dark")))
        case _:
            return Word(f"{room}/bias", f"{chance.uniform(-0.5, 0.5):.2f}")


def arrival() -> list[Word]:
    """Every hold ends, everybody comes and asks for light, and each source says something that makes sense."""
    return [word for n in range(ROOMS) for word in _arrival(n)]


def _arrival(n: int) -> list[Word]:
    room = f"leerie/room/room{n}"
    return [
        Word(f"{room}/hold", "end"),
        Word(f"{room}/bias", "0"),
        Word(f"door/{n}", "closed"),
        Word(f"pir/{n}", "motion"),
        Word(f"button/{n}", "short"),
        Word(f"radar/{n}", "true", retained=n % 10 == 0),
    ]


def leaving() -> list[Word]:
    """Everybody leaves."""
    return [Word(f"radar/{n}", "false", retained=n % 10 == 0) for n in range(ROOMS)]
