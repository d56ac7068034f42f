"""The building of a trial: small, but with every kind of sensor, lamp, room and rule that can interact."""

import re
import tempfile
from collections.abc import Collection
from pathlib import Path
from random import Random

from leerie.config import load
from leerie.config.building import Building

HOUSE = """
[site]
name = "Saltmarket violin workshop"
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
[service]
refresh = "{refresh}"
[daylight]
cloud = {{ topic = "weather/now", unit = "percent", expires = "1h" }}
outdoor = {{ topic = "roof/lux", expires = "15m" }}
[day_parts.working]
starts = "08:30"
days = ["workday"]
blend = "{blend}"
[day_parts.dusk]
starts = "sunset - 50m"
blend = "{long_blend}"
[day_parts.evening]
blend = "{long_blend}"
starts = "sunset - 30m"
kelvin = 2700
[day_parts.night]
starts = "23:15"
blend = "{blend}"

[sensors.radar]
kind = "presence"
topic = "workshop/radar"
pointer = "/target"
alive = "{alive}"
stuck = "{stuck}"
online = {{ topic = "workshop/up", present = ["up"], absent = ["lost"] }}
[sensors.pir]
kind = "motion"
topic = "workshop/pir"
clears = "20s"
alive = "{alive}"
rests = "{rests}"
battery = {{ topic = "workshop/cell", low = 15 }}
[sensors.button]
kind = "button"
topic = "workshop/wall"
does = {{ short = "ask light", double = "ask dark", long = "hold toggle", up = "raise", down = "lower" }}
[sensors.stair_pir]
kind = "presence"
topic = "stair/pir"
alive = "30m"
[sensors.bath_pir]
kind = "motion"
topic = "bath/pir"
clears = "15s"
[sensors.bath_door]
kind = "door"
topic = "bath/door"
[sensors.bed_pir]
kind = "motion"
topic = "bed/pir"
alive = "30m"
[sensors.bed_button]
kind = "button"
topic = "bed/button"
does = {{ a = "ask light", b = "ask dark" }}

[fixtures.bench]
kind = "tunable"
topic = "lamps/bench"
payload = {{ lamp = "$on", out = "$byte", white = "$kelvin", over_s = "$fade" }}
trim = [0.08, 0.80]
curve = "square"
fade = {{ up = "0.4s", down = "2s" }}
pace = {pace}
[fixtures.sign]
kind = "switched"
topic = "relay/3"
payload = "$on"
words = {{ on = "CLOSE", off = "OPEN" }}
refresh = "never"
[fixtures.stair]
kind = "dimmable"
topic = "lamps/stair"
payload = "$percent"
refresh = "never"
[fixtures.mirror]
kind = "dimmable"
messages = [{{ topic = "lamps/mirror", payload = "$arc" }}, {{ topic = "lamps/mirror/over", payload = "$fade" }}]
curve = "dali"
[fixtures.bed]
kind = "tunable"
topic = "lamps/bed"
payload = {{ p = "$level", m = "$mired", on = "$on" }}

[fixtures.panel]
kind = "tunable"
topic = "lamps/panel"
payload = {{ out = "$arc", white = "$mired" }}
lumens = 4000
watts = 38
[fixtures.easel]
kind = "colour"
topic = "lamps/easel"
payload = {{ red = "$red", green = "$green", blue = "$blue" }}
lumens = 600

[rooms.studio]
sensors = ["stair_pir"]
keep = ["radar"]
fixtures = ["panel", "easel"]
area = 14
daylight_factor = 2.5
meter = {{ topic = "studio/lux", expires = "10m" }}
grace = "{grace}"
[rooms.studio.scenes]
working = {{ panel = {{ lux = 500, kelvin = {{ sun = [2700, 5000], high = 40 }} }}, easel = {{ follow = [0.0, 0.6] }} }}
dusk = {{ panel = {{ follow = [0.9, 0.0] }}, easel = {{ level = 0.5, xy = [0.3, 0.6] }} }}
evening = {{ panel = {{ lux = 200, kelvin = 2700 }}, easel = 0.2 }}
night = {{ easel = {{ level = 0.1, xy = [0.6, 0.35] }} }}

[rooms.workshop]
sensors = ["pir", "button", "stair_pir"]
keep = ["radar"]
fixtures = ["bench", "sign"]
confirm = "{confirm}"
pass_through = "{pass_through}"
grace = "{grace}"
hold_for = {hold_for}
if_blind = "{blind}"
auto_on = {auto_on}
[rooms.workshop.scenes]
working = {{ bench = {{ follow = [0.35, 1.0], kelvin = 4000 }}, sign = 1 }}
evening = {{ bench = {{ follow = [0.8, 0.0] }} }}
night = {{}}
vacant = {{ sign = 1 }}
asked = {{ bench = {{ level = 0.15, kelvin = 2200 }} }}
[rooms.workshop.during.night]
auto_on = 0
sensors = ["pir", "button"]
grace = "3m"

[rooms.stairs]
sensors = ["stair_pir"]
fixtures = ["stair"]
egress = true
grace = "15m"
[rooms.stairs.scenes]
working = {{ stair = {{ follow = [0.9, 0.0] }} }}
evening = {{ stair = 0.7 }}
vacant = {{ stair = 0.2 }}

[rooms.bath]
sensors = ["bath_pir", "bath_door"]
fixtures = ["mirror"]
enclosed = true
grace = "{grace}"
[rooms.bath.scenes]
working = {{ mirror = 0.9 }}
night = {{ mirror = 0.1 }}

[rooms.bedroom]
sensors = ["bed_pir", "bed_button"]
fixtures = ["bed"]
confirm = "0s"
auto_on = 0.7
if_blind = "last"
[rooms.bedroom.scenes]
evening = {{ bed = {{ level = 0.4, kelvin = 2700 }} }}
night = {{ bed = {{ level = 0.05, kelvin = 2200 }} }}
"""


LEAVABLE = {"studio": ("panel", "easel"), "bath": ("mirror",), "bedroom": ("bed",)}
"""Rooms that a reload may take out of the config, and their lamps."""


def draw(random: Random, without: Collection[str] = ()) -> Building:
    """A building with its lengths and rules drawn; short ones often, so that they meet. `without`: rooms left out."""
    text = HOUSE.format(
        refresh=random.choice(["1m", "5m"]),
        blend=random.choice(["0s", "1m", "2m"]),
        long_blend=random.choice(["2m", "45m", "2h"]),
        alive=random.choice(["10m", "2h"]),
        stuck=random.choice(["20m", "12h"]),
        rests=random.choice(["0s", "60s"]),
        pace=random.choice([0.5, 1, 5]),
        confirm=random.choice(["0s", "5s", "10s"]),
        pass_through=random.choice(["30s", "2m"]),
        grace=random.choice(["1m", "10m"]),
        hold_for=random.choice(['"2m"', '"4h"', '"vacant"', '"day_part"', '"ever"']),
        blind=random.choice(["on", "off", "last"]),
        auto_on=random.choice([1, 0.7, 0]),
    )
    for room in without:
        for header in (f"rooms.{room}", f"rooms.{room}.scenes", *(f"fixtures.{lamp}" for lamp in LEAVABLE[room])):
            text = re.sub(rf"^\[{header}\]\n(?:(?!\[).*\n)*", "", text, flags=re.MULTILINE)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "house.toml"
        path.write_text(text)
        return load(path, {}).building
