"""No key of the config may be read and ignored: change any of them, and something changes."""

import ast
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from functools import cache
from itertools import zip_longest
from pathlib import Path
from typing import Any

import msgspec
import pytest

import leerie
from leerie.ahead import Year, suspicions
from leerie.config import load
from leerie.config.building import Building
from leerie.config.models import Config
from leerie.controller import Controller
from leerie.fixtures import energy
from leerie.messages import Message, Outcome
from leerie.now import SECOND_MS, Now

HOUSE = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
holidays = "GB-SCT"
days_off = ["2026-07-17"]
workweek = ["mon", "tue", "wed", "thu", "fri"]
kelvin = 3100
bed = "evening"
[broker]
host = "127.0.0.1"
port = 1884
protocol = "auto"
client_id = "leerie"
username = "violin"
password = "secret"
topics = "leerie"
keepalive = "15s"
tls = { ca = "ca.pem", certificate = "own.pem", key = "own.key" }
[service]
state_dir = "state"
journal = { days = 14, megabytes = 200 }
metrics = "127.0.0.1:9464"
refresh = "5m"
drift = "10s"
trust_clock_after = "9m"
log = "json"
[daylight]
dark = 100
bright = 20000
scale = "log"
assume_cloud = 0.6
cloud = { topic = "weather", pointer = "/cloud", unit = "percent", expires = "1h" }
outdoor = { topic = "roof", pointer = "/lx", expires = "20m" }
[day_parts.morning]
starts = [{ at = "06:30", days = ["workday"] }, { at = "08:30" }]
[day_parts.working]
starts = "09:10"
days = ["workday"]
[day_parts.noon]
starts = "noon"
earliest = "12:30"
latest = "12:40"
[day_parts.evening]
starts = "sunset"
kelvin = 2700
latest = "17:20"
blend = "3m"
[sensors.radar]
kind = "presence"
topic = "radar"
pointer = "/target"
present = [true, "yes"]
absent = [false, "no"]
stuck = "2h"
alive = "3h"
online = { topic = "up", pointer = "/link", present = ["up"], absent = ["lost"] }
battery = { topic = "cell", pointer = "/percent", low = 15 }
[sensors.strength]
kind = "presence"
topic = "strength"
present = { at_least = 0.5, above = 0.4 }
absent = { at_most = 0.2, below = 0.3 }
online = { topic = "signal", present = { at_least = 5, above = 4 }, absent = { at_most = 2, below = 3 } }
[sensors.pir]
kind = "motion"
topic = "pir"
clears = "20s"
rests = "3m"
alive = "2h"
[sensors.door]
kind = "door"
topic = "door"
[sensors.wall]
kind = "button"
topic = "wall"
does = { short = "ask light", long = "hold toggle" }
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = { out = "$level", white = "$kelvin", over_s = "$fade" }
when_off = "sleep"
trim = [0.08, 0.80]
curve = "square"
kelvin = [2200, 6500]
fade = { up = "0.4s", down = "2s" }
pace = 5
refresh = "4m"
lumens = 1100
[fixtures.spot]
kind = "dimmable"
payload = "$raw"
topic = "spot"
range = [0, 1000]
response = [[80, 4], [400, 60], [1000, 420]]
[fixtures.window]
kind = "dimmable"
curve = "linear"
range = [0, 500]
messages = [{ topic = "window", payload = "$raw" }]
when_off = [{ topic = "window/off", payload = "out" }]
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
curve = "linear"
[fixtures.sign]
kind = "switched"
topic = "sign"
words = { on = "CLOSE", off = "OPEN" }
[fixtures.glow]
kind = "colour"
topic = "glow"
payload = "$level $x $y"
curve = "linear"
[fixtures.panel]
kind = "tunable"
topic = "panel"
payload = "$level $kelvin"
curve = "linear"
fade = "0s"
lumens = 5000
watts = 44
standby = 0.7
[fixtures.easel]
kind = "dimmable"
topic = "easel"
payload = "$level"
curve = "linear"
fade = "0s"
lumens = 900
utilisation = 0.7
[rooms.workshop]
sensors = ["pir", "wall"]
keep = ["radar"]
fixtures = ["bench", "spot", "sign", "glow"]
auto_on = 0.8
confirm = "10s"
pass_through = "4m"
grace = "6m"
warn = { before = "40s", level = 0.5 }
relight = "50s"
hold_for = "70m"
if_blind = "off"
area = 20
[rooms.workshop.scenes]
morning = { bench = { level = 0.5, kelvin = 4000 }, spot = 0.3, glow = { level = 0.2, xy = [0.5, 0.4] } }
working = { bench = { follow = [0.35, 1.0] } }
noon = { bench = 0.7 }
evening = { bench = 0.6 }
vacant = { sign = 1 }
[rooms.workshop.during.noon]
auto_on = 0.5
sensors = ["pir", "wall"]
keep = ["radar"]
confirm = "12s"
pass_through = "5m"
grace = "7m"
warn = { before = "50s", level = 0.4 }
relight = "45s"
vacant = { spot = 0.1 }
[rooms.stockroom]
sensors = ["strength", "door"]
fixtures = ["shelf", "window"]
enclosed = true
settle = "12s"
grace = "15m"
egress = false
[rooms.stockroom.scenes]
morning = { shelf = 0.4, window = 0.6 }
evening = { shelf = 0.5 }
vacant = { shelf = 0.1 }
[rooms.gallery]
fixtures = ["panel", "easel"]
area = 12
maintenance = 0.75
utilisation = 0.45
daylight_factor = 1.5
eye_ratio = 0.6
meter = { topic = "gallery", pointer = "/bright", expires = "25m", lamps = 0.7, daylight = 0.9 }
[rooms.gallery.scenes]
morning = { panel = { lux = 280, kelvin = { sun = [2600, 5200], high = 20 } }, easel = { lux = 280 } }
noon = { easel = 1 }
"""

STRENGTH = "present = { at_least = 0.5, above = 0.4 }\nabsent = { at_most = 0.2, below = 0.3 }"
SIGNAL = "present = { at_least = 5, above = 4 }, absent = { at_most = 2, below = 3 }"
LEFT_OUT: dict[str, tuple[str, str, str]] = {
    f"sensors.*.{place}.{bound}": (there, *(frame.format(f"{bound} = {value}") for value in values))
    for place, there, frame, bounds, values in (
        ("present", STRENGTH, "present = {{ {} }}\nabsent = {{ above = 0.5 }}", ("at_most", "below"), (0.2, 0.3)),
        ("absent", STRENGTH, "present = {{ below = 0.2 }}\nabsent = {{ {} }}", ("at_least", "above"), (0.5, 0.8)),
        ("online.present", SIGNAL, "present = {{ {} }}, absent = {{ above = 5 }}", ("at_most", "below"), (1, 2)),
        ("online.absent", SIGNAL, "present = {{ below = 1 }}, absent = {{ {} }}", ("at_least", "above"), (5, 8)),
    )
    for bound in bounds
} | {
    f"rooms.*.during.*.vacant.*.{key}": (
        "vacant = { spot = 0.1 }",
        *(f"vacant = {{ {lamp} = {{ {value} }} }}" for value in values),
    )
    for key, lamp, *values in (
        ("lux", "bench", "lux = 4", "lux = 5"),
        (
            "kelvin.sun",
            "bench",
            "level = 0.1, kelvin = { sun = [2200, 6500] }",
            "level = 0.1, kelvin = { sun = [2200, 6000] }",
        ),
        (
            "kelvin.high",
            "bench",
            "level = 0.1, kelvin = { sun = [2200, 6500], high = 40 }",
            "level = 0.1, kelvin = { sun = [2200, 6500], high = 50 }",
        ),
        ("xy", "glow", "level = 0.1, xy = [0.5, 0.4]", "level = 0.1, xy = [0.5, 0.3]"),
    )
}
"""Keys that the house leaves out: what stands in it, and two things that could stand there."""

CHANGES: dict[str, tuple[str, str]] = {
    "site.latitude": ("latitude = 55.8569", "latitude = 40.0"),
    "site.longitude": ("longitude = -4.2448", "longitude = -14.0"),
    "site.timezone": ('"Europe/London"', '"Europe/Berlin"'),
    "site.holidays": ('holidays = "GB-SCT"', 'holidays = "BG"'),
    "site.days_off": ('["2026-07-17"]', '["2026-03-03"]'),
    "site.workweek": ('"mon", "tue", "wed", "thu", "fri"]\nkelvin', '"wed", "thu", "fri"]\nkelvin'),
    "site.kelvin": ("kelvin = 3100", "kelvin = 3200"),
    "broker.topics": ('topics = "leerie"', 'topics = "house"'),
    "service.refresh": ('metrics = "127.0.0.1:9464"\nrefresh = "5m"', 'metrics = "127.0.0.1:9464"\nrefresh = "6m"'),
    "service.drift": ('drift = "10s"', 'drift = "50s"'),
    "daylight.dark": ("dark = 100", "dark = 150"),
    "daylight.bright": ("bright = 20000", "bright = 30000"),
    "daylight.scale": ('scale = "log"', 'scale = "linear"'),
    "daylight.assume_cloud": ("assume_cloud = 0.6", "assume_cloud = 0.1"),
    "daylight.cloud.topic": ('topic = "weather"', 'topic = "air"'),
    "daylight.cloud.pointer": ('pointer = "/cloud"', 'pointer = "/sky"'),
    "daylight.cloud.unit": ('unit = "percent"', 'unit = "okta"'),
    "daylight.cloud.expires": ('expires = "1h"', 'expires = "5h"'),
    "daylight.outdoor.topic": ('topic = "roof"', 'topic = "mast"'),
    "daylight.outdoor.pointer": ('pointer = "/lx"', 'pointer = "/lux"'),
    "daylight.outdoor.expires": ('expires = "20m"', 'expires = "5m"'),
    "day_parts.*.starts": ('starts = "09:10"', 'starts = "09:20"'),
    "day_parts.*.starts.at": ('at = "06:30"', 'at = "07:30"'),
    "day_parts.*.starts.days": ('at = "06:30", days = ["workday"]', 'at = "06:30", days = ["sun"]'),
    "day_parts.*.days": ('starts = "09:10"\ndays = ["workday"]', 'starts = "09:10"\ndays = ["sun"]'),
    "day_parts.*.earliest": ('earliest = "12:30"', 'earliest = "12:39"'),
    "day_parts.*.latest": ('latest = "17:20"', 'latest = "17:10"'),
    "day_parts.*.kelvin": ("kelvin = 2700", "kelvin = 2600"),
    "day_parts.*.blend": ('blend = "3m"', 'blend = "0s"'),
    "sensors.*.kind": ('kind = "presence"\ntopic = "strength"', 'kind = "motion"\ntopic = "strength"'),
    "sensors.*.topic": ('topic = "pir"', 'topic = "eye"'),
    "sensors.*.pointer": ('pointer = "/target"', 'pointer = "/who"'),
    "sensors.*.present": ('present = [true, "yes"]', 'present = ["yes"]'),
    "sensors.*.present.at_least": ("at_least = 0.5", "at_least = 0.9"),
    "sensors.*.present.above": ("above = 0.4", "above = 0.8"),
    "sensors.*.absent": ('absent = [false, "no"]', 'absent = ["no"]'),
    "sensors.*.absent.at_most": ("at_most = 0.2", "at_most = 0.05"),
    "sensors.*.absent.below": ("below = 0.3", "below = 0.05"),
    "sensors.*.stuck": ('stuck = "2h"', 'stuck = "1h"'),
    "sensors.*.alive": ('alive = "3h"', 'alive = "90m"'),
    "sensors.*.online.topic": ('topic = "up"', 'topic = "link"'),
    "sensors.*.online.pointer": ('pointer = "/link"', 'pointer = "/net"'),
    "sensors.*.online.present": ('present = ["up"]', 'present = ["back"]'),
    "sensors.*.online.absent": ('absent = ["lost"]', 'absent = ["gone"]'),
    "sensors.*.online.present.at_least": ("at_least = 5", "at_least = 8"),
    "sensors.*.online.present.above": ("above = 4", "above = 7"),
    "sensors.*.online.absent.at_most": ("at_most = 2,", "at_most = 1,"),
    "sensors.*.online.absent.below": ("below = 3 ", "below = 1 "),
    "sensors.*.battery.topic": ('topic = "cell"', 'topic = "power"'),
    "sensors.*.battery.pointer": ('pointer = "/percent"', 'pointer = "/share"'),
    "sensors.*.battery.low": ("low = 15", "low = 5"),
    "sensors.*.clears": ('clears = "20s"', 'clears = "30s"'),
    "sensors.*.rests": ('rests = "3m"', 'rests = "9m"'),
    "sensors.*.does": ('short = "ask light"', 'short = "ask dark"'),
    "fixtures.*.kind": ('"switched"\ntopic = "sign"', '"dimmable"\npayload = "$on $percent"\ntopic = "sign"'),
    "fixtures.*.topic": ('topic = "bench"', 'topic = "desk"'),
    "fixtures.*.payload": ('payload = "$raw"\ntopic', 'payload = "$byte"\ntopic'),
    "fixtures.*.when_off": ('when_off = "sleep"', 'when_off = "rest"'),
    "fixtures.*.when_off.topic": ('topic = "window/off"', 'topic = "window/out"'),
    "fixtures.*.when_off.payload": ('payload = "out"', 'payload = "off"'),
    "fixtures.*.messages.topic": ('topic = "window",', 'topic = "pane",'),
    "fixtures.*.messages.payload": ('payload = "$raw" }]', 'payload = "at $raw" }]'),
    "fixtures.*.words.on": ('on = "CLOSE"', 'on = "SHUT"'),
    "fixtures.*.words.off": ('off = "OPEN"', 'off = "AJAR"'),
    "fixtures.*.trim": ("trim = [0.08, 0.80]", "trim = [0.08, 0.90]"),
    "fixtures.*.curve": ('curve = "square"', 'curve = "dali"'),
    "fixtures.*.response": ("[400, 60]", "[400, 90]"),
    "fixtures.*.range": ("range = [0, 500]", "range = [0, 600]"),
    "fixtures.*.kelvin": ("kelvin = [2200, 6500]", "kelvin = [2200, 3500]"),
    "fixtures.*.lumens": ("lumens = 5000", "lumens = 6000"),
    "fixtures.*.utilisation": ("utilisation = 0.7", "utilisation = 0.8"),
    "fixtures.*.fade.up": ('up = "0.4s"', 'up = "0.5s"'),
    "fixtures.*.fade.down": ('down = "2s"', 'down = "3s"'),
    "fixtures.*.pace": ("pace = 5", "pace = 0.2"),
    "fixtures.*.refresh": ('refresh = "4m"', 'refresh = "never"'),
    "rooms.*.sensors": ('["pir", "wall"]\nkeep = ["radar"]\nfixtures', '["wall"]\nkeep = ["radar"]\nfixtures'),
    "rooms.*.keep": ('keep = ["radar"]\nfixtures', 'keep = ["strength"]\nfixtures'),
    "rooms.*.fixtures": ('fixtures = ["bench", "spot", "sign",', 'fixtures = ["sign", "spot", "bench",'),
    "rooms.*.auto_on": ("auto_on = 0.8", "auto_on = 0.9"),
    "rooms.*.confirm": ('confirm = "10s"', 'confirm = "20s"'),
    "rooms.*.pass_through": ('pass_through = "4m"', 'pass_through = "8m"'),
    "rooms.*.grace": ('grace = "6m"', 'grace = "8m"'),
    "rooms.*.warn": ('warn = { before = "40s", level = 0.5 }', "warn = false"),
    "rooms.*.warn.before": ('before = "40s"', 'before = "20s"'),
    "rooms.*.warn.level": ("level = 0.5 }\nrelight", "level = 0.3 }\nrelight"),
    "rooms.*.relight": ('relight = "50s"', 'relight = "0s"'),
    "rooms.*.hold_for": ('hold_for = "70m"', 'hold_for = "vacant"'),
    "rooms.*.if_blind": ('if_blind = "off"', 'if_blind = "on"'),
    "rooms.*.enclosed": ('enclosed = true\nsettle = "12s"', "enclosed = false"),
    "rooms.*.settle": ('settle = "12s"', 'settle = "10m"'),
    "rooms.*.egress": ("egress = false", "egress = true"),
    "rooms.*.area": ("area = 12", "area = 14"),
    "rooms.*.maintenance": ("maintenance = 0.75", "maintenance = 0.7"),
    "rooms.*.utilisation": ("utilisation = 0.45", "utilisation = 0.5"),
    "rooms.*.daylight_factor": ("daylight_factor = 1.5", "daylight_factor = 1"),
    "rooms.*.meter.topic": ('meter = { topic = "gallery"', 'meter = { topic = "museum"'),
    "rooms.*.meter.pointer": ('pointer = "/bright"', 'pointer = "/dull"'),
    "rooms.*.meter.expires": ('expires = "25m"', 'expires = "35m"'),
    "rooms.*.meter.lamps": ("lamps = 0.7", "lamps = 0.8"),
    "rooms.*.meter.daylight": ("daylight = 0.9", "daylight = 0.8"),
    "rooms.*.scenes.*.*": ("morning = { shelf = 0.4,", "morning = { shelf = 0.6,"),
    "rooms.*.scenes.*.*.level": ("level = 0.5, kelvin = 4000", "level = 0.6, kelvin = 4000"),
    "rooms.*.scenes.*.*.follow": ("follow = [0.35, 1.0]", "follow = [0.35, 0.7]"),
    "rooms.*.scenes.*.*.lux": (
        "morning = { panel = { lux = 280, kelvin = { sun = [2600, 5200], high = 20 } }, easel = { lux = 280 } }",
        "morning = { panel = { lux = 270, kelvin = { sun = [2600, 5200], high = 20 } }, easel = { lux = 270 } }",
    ),
    "rooms.*.scenes.*.*.kelvin": ("kelvin = 4000", "kelvin = 4500"),
    "rooms.*.scenes.*.*.kelvin.sun": ("sun = [2600, 5200]", "sun = [2600, 5000]"),
    "rooms.*.scenes.*.*.kelvin.high": ("high = 20", "high = 25"),
    "rooms.*.scenes.*.*.xy": ("xy = [0.5, 0.4]", "xy = [0.52, 0.4]"),
    "rooms.*.during.*.auto_on": ("auto_on = 0.5", "auto_on = 0.6"),
    "rooms.*.during.*.sensors": ('auto_on = 0.5\nsensors = ["pir", "wall"]', 'auto_on = 0.5\nsensors = ["wall"]'),
    "rooms.*.during.*.keep": ('keep = ["radar"]\nconfirm', "keep = []\nconfirm"),
    "rooms.*.during.*.confirm": ('confirm = "12s"', 'confirm = "20s"'),
    "rooms.*.during.*.pass_through": ('pass_through = "5m"', 'pass_through = "8m"'),
    "rooms.*.during.*.grace": ('grace = "7m"', 'grace = "8m"'),
    "rooms.*.during.*.warn": ('warn = { before = "50s", level = 0.4 }', "warn = false"),
    "rooms.*.during.*.warn.before": ('before = "50s"', 'before = "20s"'),
    "rooms.*.during.*.warn.level": ("level = 0.4 }\nrelight", "level = 0.3 }\nrelight"),
    "rooms.*.during.*.relight": ('relight = "45s"', 'relight = "0s"'),
    "rooms.*.during.*.vacant.*": ("vacant = { spot = 0.1 }", "vacant = { spot = 0.2 }"),
    "rooms.*.during.*.vacant.*.level": ("vacant = { spot = 0.1 }", "vacant = { spot = { level = 0.2 } }"),
    "rooms.*.during.*.vacant.*.follow": ("vacant = { spot = 0.1 }", "vacant = { spot = { follow = [0.2, 0.1] } }"),
    "rooms.*.during.*.vacant.*.kelvin": (
        "vacant = { spot = 0.1 }",
        "vacant = { bench = { level = 0.1, kelvin = 2500 } }",
    ),
}
"""Key → what stands in the house, and what else could stand there: seen in the day that follows from it."""

AT_THE_EDGE: dict[str, tuple[str, str, str]] = {
    "site.name": ("[site]\n", '[site]\nname = "Saltmarket"\n', "site.name"),
    "broker.host": ('host = "127.0.0.1"', 'host = "broker"', "broker.host"),
    "broker.port": ("port = 1884", "port = 1885", "broker.port"),
    "broker.protocol": ('protocol = "auto"', 'protocol = "5"', "broker.protocol"),
    "broker.client_id": ('client_id = "leerie"', 'client_id = "lamplight"', "broker.client_id"),
    "broker.username": ('username = "violin"', 'username = "viola"', "broker.username"),
    "broker.password": ('password = "secret"', 'password = "another"', "broker.password"),
    "broker.password_file": ('password = "secret"', 'password_file = "word"', "broker.password"),
    "broker.keepalive": ('keepalive = "15s"', 'keepalive = "16s"', "broker.keepalive_s"),
    "broker.tls.ca": ('ca = "ca.pem"', 'ca = "other.pem"', "tls.ca"),
    "broker.tls.certificate": ('"own.pem"', '"other.pem"', "tls.certificate"),
    "broker.tls.key": ('"own.key"', '"other.key"', "tls.key"),
    "service.state_dir": ('state_dir = "state"', 'state_dir = "records"', "service.state_dir"),
    "service.journal.days": ("days = 14", "days = 15", "keeps.days"),
    "service.journal.megabytes": ("megabytes = 200", "megabytes = 201", "keeps.most_bytes"),
    "service.metrics": ('metrics = "127.0.0.1:9464"', 'metrics = ""', "service.metrics"),
    "service.log": ('log = "json"', 'log = "console"', "service.log"),
    "service.trust_clock_after": ('clock_after = "9m"', 'clock_after = "8m"', "service.trust_clock_after_ms"),
}
"""Keys that the core never sees: what to change, and the field of the compiled building that some code beyond it, in
runtime or cli, must read: how the broker is dialled, where records, page and log go, and the name that is shown.
"""

IN_FIGURES: dict[str, tuple[str, str, str]] = {
    "site.bed": ('bed = "evening"', 'bed = "noon"', "ahead.suspicions"),
    "rooms.*.eye_ratio": ("eye_ratio = 0.6", "eye_ratio = 0.7", "ahead.suspicions"),
    "fixtures.*.watts": ("watts = 44", "watts = 45", "energy.power"),
    "fixtures.*.standby": ("standby = 0.7", "standby = 0.8", "energy.power"),
}
"""Keys on which no lamp hangs: what to change, and the estimate that changes and that some code at the edge gives."""

# ---- the keys --------------------------------------------------------------------------------------------------------


def leaves(schema: dict[str, Any], node: dict[str, Any], path: str = "") -> Iterator[str]:
    """Every key that can hold something other than a table of known keys."""
    if "$ref" in node:
        node = schema["$defs"][node["$ref"].rsplit("/", 1)[1]]
    choices = [*node.get("anyOf", ()), *node.get("oneOf", ())]
    for choice in choices:
        yield from leaves(schema, choice, path)
    for name, inner in node.get("properties", {}).items():
        yield from leaves(schema, inner, f"{path}.{name}".lstrip("."))
    if isinstance(node.get("additionalProperties"), dict) and node["additionalProperties"].get("type") != "string":
        yield from leaves(schema, node["additionalProperties"], f"{path}.*")
    elif "items" in node and "$ref" in node["items"]:
        yield from leaves(schema, node["items"], path)
    elif not choices and "properties" not in node and node.get("type") != "null":
        yield path


def keys() -> set[str]:
    schema = Config.model_json_schema()
    return set(leaves(schema, schema))


def test_every_key_is_covered() -> None:
    """A new key needs a line above; a line of a key that is gone must go."""
    known = {key for key in keys() if key}
    covered = set(CHANGES) | set(LEFT_OUT) | set(AT_THE_EDGE) | set(IN_FIGURES)
    assert covered == known


# ---- a day -----------------------------------------------------------------------------------------------------------

HOLD = "leerie/room/workshop/hold"
SCRIPT: tuple[tuple[str, str, str], ...] = (
    ("06:00:00", "cell", '{"percent": 10}'),
    ("06:00:05", "up", '{"link": "up"}'),
    *(("06:10:00", "signal", "6"), ("06:11:00", "signal", "1.5"), ("06:12:00", "signal", "9")),
    *(("06:40:00", "pir", "on"), ("06:40:40", "pir", "on"), ("06:41:15", "wall", "short")),
    *(("07:00:00", "strength", "0.45"), ("07:00:30", "strength", "0.1"), ("07:00:35", "strength", "0.7")),
    *(("07:01:00", "strength", "0.25"), ("07:02:00", "door", "open"), ("07:02:05", "door", "closed")),
    *(("07:02:30", "strength", "0.9"), ("07:04:00", "strength", "0.1"), ("08:00:00", "door", "open")),
    *(("08:20:00", "pir", "on"), ("08:25:10", "pir", "on")),
    *(("09:15:00", "pir", "on"), ("09:15:05", "radar", '{"target": true}'), ("09:16:00", "roof", '{"lx": 3000}')),
    *(
        ("09:30:00", "roof", '{"lx": 2000}'),
        ("09:31:01", "roof", '{"lx": 6000}'),
        ("10:00:00", "weather", '{"cloud": 5}'),
    ),
    *((f"10:{minute}:30", "gallery", f'{{"bright": {200 + minute}}}') for minute in range(10, 30)),
    *(("10:20:00", "radar", '{"target": false}'), ("10:20:20", "radar", '{"target": "maybe"}')),
    *(("10:26:30", "pir", "on"), ("10:26:45", "radar", '{"target": "yes"}')),
    *(("11:50:00", "radar", '{"target": "no"}'), ("12:38:30", "pir", "on"), ("12:38:45", "pir", "on")),
    *(("12:43:00", "pir", "on"), ("12:43:15", "pir", "on"), ("12:43:17", "radar", '{"target": true}')),
    *(("12:46:00", "radar", '{"target": false}'), ("12:53:20", "pir", "on"), ("13:10:00", "pir", "on")),
    *(("13:40:00", HOLD, "start"), ("13:41:00", HOLD, "end"), ("13:42:00", HOLD, '{"hold": true, "level": 0.4}')),
    *(("13:42:01", HOLD, '{"hold": true, "level": 0.6}'), ("15:20:00", "wall", "long"), ("15:20:09", "wall", "long")),
    *(("16:00:00", "up", '{"link": "lost"}'), ("16:30:00", "up", '{"link": "up"}')),
    *(("17:00:00", "pir", "on"), ("17:00:15", "pir", "on"), ("17:00:17", "radar", '{"target": true}')),
    *(("17:01:00", "strength", "0.9"), ("19:30:00", "strength", "0.1")),
)
DAYS = ("2026-03-02", "2026-03-03")
MOST_ADVANCES = 50_000


def at(day: str, clock: str) -> int:
    """Wall clock, µs; in March the clocks of Scotland show UTC."""
    return round(datetime.fromisoformat(f"{day}T{clock}+00:00").timestamp() * 1e6)


def lived(building: Building) -> Iterator[bytes]:
    """All that the controller wants, says and remembers over two days, step by step."""
    controller = Controller(building, {}, "one boot")
    now = Now(1_000_000, at(DAYS[0], "05:59:00"))
    controller.linked(now)
    waits = MOST_ADVANCES

    def told(outcome: Outcome) -> bytes:
        for publish in outcome.commands:
            controller.acknowledged(publish.ticket, ok=True, now=now)
        return msgspec.json.encode(outcome)

    def pass_until(steady: int) -> Iterator[bytes]:
        nonlocal now, waits
        while (due := controller.due()) is not None and due <= steady:
            waits -= 1
            assert waits, "time does not pass"
            now = now.at(max(due, now.steady))
            yield told(controller.advance(now))
        now = now.at(steady)

    yield msgspec.json.encode(controller.filters())
    yield told(controller.settled(now))
    for day in DAYS:
        for clock, topic, payload in SCRIPT:
            yield from pass_until(now.steady + (at(day, clock) - now.wall) // 1_000)
            yield told(controller.receive(Message(topic, payload.encode()), now))
        yield from pass_until(now.steady + SECOND_MS)
    yield from (controller.memory(room) for room in building.rooms)


def differ(one: Iterable[bytes], other: Iterable[bytes]) -> bool:
    """Whether two stories part; none goes on after that."""
    return any(step != instead for step, instead in zip_longest(one, other))


@cache
def built(folder: Path, text: str) -> Building:
    for name in ("ca.pem", "other.pem", "own.pem", "own.key", "other.key"):
        (folder / name).touch()
    (folder / "word").write_text("written down")
    path = folder / "leerie.toml"
    path.write_text(text)
    return load(path, {}).building


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("house")


@pytest.fixture(scope="module")
def usual(folder: Path) -> list[bytes]:
    return list(lived(built(folder, HOUSE)))


def changed(old: str, new: str) -> str:
    assert HOUSE.count(old) == 1, f"{old!r} does not stand in the house once"
    return HOUSE.replace(old, new)


@pytest.mark.parametrize("key", CHANGES)
def test_a_key_that_changes_changes_the_day(key: str, folder: Path, usual: list[bytes]) -> None:
    assert differ(lived(built(folder, changed(*CHANGES[key]))), usual)


@pytest.mark.parametrize("key", LEFT_OUT)
def test_a_key_that_the_house_leaves_out_changes_the_day(key: str, folder: Path) -> None:
    there, *frames = LEFT_OUT[key]
    one, another = (lived(built(folder, changed(there, frame))) for frame in frames)
    assert differ(one, another)


def test_the_same_house_lives_the_same_day(folder: Path, usual: list[bytes]) -> None:
    assert not differ(lived(built(folder, HOUSE)), usual)
    assert len(usual) > 1_000


@pytest.mark.parametrize("key", AT_THE_EDGE)
def test_a_key_at_the_edge_changes_what_is_compiled_and_is_read_there(key: str, folder: Path) -> None:
    old, new, field = AT_THE_EDGE[key]
    before, after = built(folder, HOUSE), built(folder, changed(old, new))
    assert before != after
    assert field in read_at_the_edge(), f"nobody reads {field}"


@pytest.mark.parametrize("key", IN_FIGURES)
def test_a_key_on_which_no_lamp_hangs_changes_a_figure_that_is_given(key: str, folder: Path) -> None:
    old, new, figure = IN_FIGURES[key]
    before, after = figures(built(folder, HOUSE)), figures(built(folder, changed(old, new)))
    assert before[figure] != after[figure]
    assert figure in read_at_the_edge(), f"nobody gives {figure}"


def figures(building: Building) -> dict[str, object]:
    return {
        "energy.power": [energy.power(lamp, level) for lamp in building.fixtures.values() for level in (0, 0.5)],
        "ahead.suspicions": [*suspicions(Year(building, date.fromisoformat(DAYS[0])))],
    }


@cache
def read_at_the_edge() -> frozenset[str]:
    """`table.field` of every field that runtime or cli reads, whatever the table is reached through."""
    found = set()
    folder = Path(leerie.__file__).parent
    for module in (path for room in ("runtime", "cli", "report") for path in sorted(folder.glob(f"{room}/*.py"))):
        for node in ast.walk(ast.parse(module.read_text())):
            if isinstance(node, ast.ImportFrom):
                found.update(f"{str(node.module).rsplit('.', 1)[-1]}.{name.name}" for name in node.names)
            if isinstance(node, ast.Attribute):
                owner = ast.unparse(node.value).rsplit(".", 1)[-1].lstrip("_")
                found.add(f"{owner}.{node.attr}")
    return frozenset(found)
