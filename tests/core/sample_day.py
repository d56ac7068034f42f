"""A building with a bit of everything, and a day in it that a seed draws. As a program it tells the whole story."""

import sys
from random import Random

import msgspec
from walker import Walker, house

from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS

HOUSE = """
[daylight]
cloud = { topic = "weather", unit = "percent" }
outdoor = { topic = "roof" }
[day_parts.day]
blend = "0s"
starts = "sunrise + 10m"
latest = "09:00"
[day_parts.evening]
blend = "0s"
starts = "sunset - 30m"
[sensors.radar]
kind = "presence"
topic = "radar"
alive = "3h"
online = { topic = "up", present = ["up"], absent = ["lost"] }
[sensors.pir]
kind = "motion"
topic = "pir"
clears = "20s"
battery = { topic = "cell", low = 15 }
[sensors.door]
kind = "door"
topic = "door"
[sensors.wall]
kind = "button"
topic = "wall"
does = { a = "ask light", b = "ask dark", c = "hold toggle", up = "raise", down = "lower" }
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = { out = "$level", white = "$mired" }
[fixtures.sign]
kind = "switched"
topic = "sign"
refresh = "never"
[fixtures.stair]
kind = "dimmable"
topic = "stair"
payload = "$percent"
pace = 0.5
[fixtures.bed]
kind = "colour"
topic = "bed"
payload = { dye = ["$red", "$green", "$blue"] }
[rooms.workshop]
sensors = ["pir", "wall"]
keep = ["radar"]
fixtures = ["bench", "sign"]
[rooms.workshop.scenes]
day = { bench = { follow = [0.3, 1.0] }, sign = 1 }
evening = { bench = { level = 0.4, kelvin = 2700 } }
vacant = { sign = 1 }
[rooms.stairs]
sensors = ["pir"]
fixtures = ["stair"]
egress = true
grace = "15m"
[rooms.stairs.scenes]
day = { stair = { follow = [0.9, 0.0] } }
vacant = { stair = 0.2 }
[rooms.bedroom]
sensors = ["door", "radar"]
fixtures = ["bed"]
enclosed = true
[rooms.bedroom.scenes]
day = { bed = 0.8 }
evening = {}
asked = { bed = 0.1 }
"""
DAY = (
    *(("radar", word) for word in ("on", "off", "on", "off")),
    *(("pir", "on"), ("pir", "on"), ("door", "open"), ("door", "closed"), ("up", "lost"), ("up", "up")),
    *(("cell", "3"), ("cell", "80"), ("weather", "30"), ("weather", "100"), ("roof", "400"), ("roof", "20000")),
    *(("wall", press) for press in ("a", "b", "c", "up", "down")),
    *(("pir", "?"), ("roof", "-1"), ("nobody/reads/this", "1")),
)
WISHES = (
    *(("hold", word) for word in ("toggle", "start", "end", '{"hold": true, "level": 0.2, "for": "vacant"}')),
    *(("ask", word) for word in ("light", "dark", "LIGHT")),
    *(("bias", word) for word in ("0.2", "0", '{"bias": -0.4, "for": "90s"}', "lots")),
)


def play(seed: int, steps: int = 150) -> Walker:
    """A day of so many steps."""
    random = Random(seed)
    walker = Walker(house(HOUSE))
    for _ in range(steps):
        if random.random() < 0.2:
            wish, payload = random.choice(WISHES)
            walker.say(f"leerie/room/{random.choice(list(walker.building.rooms))}/{wish}", payload)
        else:
            walker.say(*random.choice(DAY))
        walker.pass_ms(random.randrange(random.choice((SECOND_MS, MINUTE_MS, HOUR_MS))))
    return walker


def story(walker: Walker) -> bytes:
    """All that the controller said, and each room's record."""
    records = tuple(walker.memory.values())
    return msgspec.json.encode((walker.outcomes, records))


if __name__ == "__main__":
    sys.stdout.buffer.write(story(play(7)))
