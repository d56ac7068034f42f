"""What is legal but suspicious, with its reason and its line."""

from pathlib import Path

import pytest
from small_configs import SITE, WORKSHOP

from leerie.config import load

ROOMS = """
[day_parts]
day.starts = "08:00"
night.starts = "22:00"
[sensors]
radar = { kind = "presence", topic = "radar" }
pir = { kind = "motion", topic = "pir", clears = "20s", rests = "60s" }
[fixtures]
lamp = { kind = "dimmable", topic = "lamp", payload = "$byte", curve = "linear" }
[rooms.room]
fixtures = ["lamp"]
scenes = { day = { lamp = 1 }, night = { lamp = 0.5 }, vacant = { lamp = 0.1 } }
"""
BOTH = 'sensors = ["radar", "pir"]\n'
CEILING = "20m with the sensors' own clears: ceiling of ANSI/ASHRAE/IES 90.1 and Title 24"
RESTS = "1m25s, for pir cannot speak again sooner; at least 1m25s: clears + rests of pir + 5 s"


def suspicions(folder: Path, text: str) -> list[str]:
    path = folder / "leerie.toml"
    path.write_text(text)
    loaded = load(path, {})
    return [str(problem).removeprefix(f"{path}:") for problem in loaded.located(loaded.suspicions(2026))]


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (BOTH, None),
        ('sensors = ["pir"]', "9 sensors.radar: is in no room; what it says changes nothing"),
        ('keep = ["radar", "pir"]', "16 rooms.room.keep: only keeps light; a sensor in sensors brings it"),
        (BOTH + 'grace = "19m40s"', None),
        (BOTH + 'grace = "19m41s"', f"17 rooms.room.grace: light stays for 20m1s after everybody has left; {CEILING}"),
        (
            BOTH + '[rooms.room.during.night]\nkeep = []\ngrace = "1h"',
            f"19 rooms.room.during.night.grace: light stays for 1h20s after everybody has left; {CEILING}",
        ),
        (BOTH + 'egress = true\ngrace = "15m"', None),
        (
            BOTH + 'egress = true\ngrace = "14m"',
            "18 rooms.room.grace: 14m is short for an escape route; 15m: floor of NFPA 101 for sensor-switched light",
        ),
        (BOTH + 'egress = true\ngrace = "15m"\nwarn = false', None),
        (
            BOTH + 'egress = true\ngrace = "15m"\npass_through = "5m"',
            "19 rooms.room.pass_through: is overruled on an escape route; the grace counts instead",
        ),
        (
            BOTH + 'egress = true\ngrace = "15m"\n[rooms.room.during.night]\nwarn = { before = "20s" }',
            "20 rooms.room.during.night.warn: is overruled on an escape route; false, as it is there anyhow",
        ),
        (BOTH + 'pass_through = "1m"', f"17 rooms.room.pass_through: 1m becomes {RESTS}"),
        (
            BOTH + '[rooms.room.during.night]\ngrace = "10s"\npass_through = "90s"',
            f"18 rooms.room.during.night.grace: 10s becomes {RESTS}",
        ),
    ],
)
def test_rooms(tmp_path: Path, keys: str, said: str | None) -> None:
    assert suspicions(tmp_path, SITE.strip() + ROOMS + keys) == ([] if said is None else [said])


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (
            'kind = "switched"\nfade = "1s"',
            ["9 fixtures.it.fade: serves no $fade; the lamp fades as it will, or not at all"],
        ),
        ('kind = "dimmable"\npayload = "$byte in $fade"\ncurve = "dali"\nfade = "1s"', []),
        (
            'kind = "tunable"\npayload = "$byte $kelvin"',
            [
                "6 fixtures.it.curve: is left at its default; how the lamp really dims",
                "6 fixtures.it.kelvin: is left at its default; the white that the lamp really has",
            ],
        ),
        ('kind = "dimmable"\npayload = "$raw"\nresponse = [[1, 1], [2, 2]]', []),
    ],
)
def test_lamps(tmp_path: Path, keys: str, said: list[str]) -> None:
    text = f'{SITE.strip()}\n\n[fixtures.it]\ntopic = "it"\n{keys}\n[rooms.room]\nfixtures = ["it"]\n'
    assert suspicions(tmp_path, text) == said


WHITES = """
[day_parts]
day = { starts = "08:00", kelvin = 2000 }
night = { starts = "22:00", kelvin = 3000 }
[fixtures.tube]
kind = "tunable"
topic = "tube"
payload = "$byte $kelvin"
curve = "linear"
kelvin = [2200, 6000]
[fixtures.spot]
kind = "dimmable"
topic = "spot"
payload = "$byte"
curve = "linear"
[rooms.room]
fixtures = ["tube", "spot"]
"""
BEYOND = "beyond tube (2200–6000 K); the lamp gives the nearest it has"


@pytest.mark.parametrize(
    ("scenes", "said"),
    [
        ("day.spot = 1", []),
        ("day.tube = { level = 1, kelvin = 2200 }", []),
        ("day.tube = { level = 1, kelvin = 9000 }", [f"22 rooms.room.scenes.day.tube.kelvin: 9000 K is {BEYOND}"]),
        ("day.tube = 1", [f"6 day_parts.day.kelvin: 2000 K is {BEYOND}"]),
        (
            "night.tube = { level = 1, kelvin = { sun = [1800, 6500] } }",
            [f"22 rooms.room.scenes.night.tube.kelvin.sun: 1800 K and 6500 K are {BEYOND}"],
        ),
    ],
)
def test_a_white_that_the_lamp_has_not(tmp_path: Path, scenes: str, said: list[str]) -> None:
    text = f"{SITE.strip()}{WHITES}[rooms.room.scenes]\n{scenes}\n"
    assert [line for line in suspicions(tmp_path, text) if "named by no room" not in line] == said


METERED = """
[day_parts.day]
starts = "08:00"
[fixtures.lamp]
kind = "dimmable"
topic = "lamp"
payload = "$byte"
curve = "linear"
lumens = 900
[rooms.room]
fixtures = ["lamp"]
area = 12
meter = { topic = "lux" }
"""


@pytest.mark.parametrize(
    ("scenes", "idle"),
    [
        ("day = { lamp = { lux = 300 } }", False),
        ("day = { lamp = 1 }, vacant = { lamp = { lux = 5 } }", False),
        ("day = { lamp = 1 }, asked = { lamp = { lux = 50 } }", False),
        ("day = { lamp = { follow = [0, 1] } }", True),
    ],
)
def test_a_meter_that_serves_nothing(tmp_path: Path, scenes: str, idle: bool) -> None:
    text = f"{SITE.strip()}{METERED}scenes = {{ {scenes} }}\n"
    line = "16 rooms.room.meter: serves no lux; a scene that asks for lux, or no meter"
    assert suspicions(tmp_path, text) == ([line] if idle else [])


def test_a_day_part_that_no_room_names(tmp_path: Path) -> None:
    text = WORKSHOP.replace('payload = "$byte"', 'payload = "$byte"\ncurve = "dali"')
    assert suspicions(tmp_path, text) == []
    noon = '[day_parts.noon]\nstarts = "noon"\n'
    assert suspicions(tmp_path, text.replace("[site]", '[site]\nbed = "noon"') + noon) == []
    assert suspicions(tmp_path, text + noon) == [
        f"{text.count(chr(10)) + 1} day_parts.noon: is named by no room; its start changes nothing"
    ]


@pytest.mark.parametrize(
    ("zone", "longitude", "hours"),
    [
        ("UTC", 0.0, None),
        ("Europe/London", -4.2, None),
        ("Asia/Shanghai", 75.9, None),  # Kashgar, 2.9 h: as far as an honest place gets
        ("Pacific/Kiritimati", -157.4, None),  # 14 h ahead of UTC, half a day and more from its meridian's own time
        ("America/New_York", 74.0, "8 h 56 min"),
        ("Asia/Tokyo", -139.7, "5 h 41 min"),
    ],
)
def test_a_longitude_of_the_wrong_sign_is_noticed(
    tmp_path: Path, zone: str, longitude: float, hours: str | None
) -> None:
    text = f'[site]\nlatitude = 0\nlongitude = {longitude}\ntimezone = "{zone}"\n'
    problem = f"the clock of {zone} is {hours} away from the sun at this longitude"
    line = f"3 site.longitude: {problem}; east is positive, west negative"
    assert suspicions(tmp_path, text) == ([] if hours is None else [line])


def test_the_broker(tmp_path: Path) -> None:
    secret = tmp_path / "word"
    secret.touch(mode=0o600)
    text = f'{SITE.strip()}\n[broker]\npassword_file = "word"\nport = 8883\n'
    port = "7 broker.port: is the port for TLS, and there is no tls; tls = {}, or port 1883"
    assert suspicions(tmp_path, text) == [port]
    secret.chmod(0o604)
    readable = "6 broker.password_file: can be read by every user of this machine; chmod o-r"
    assert suspicions(tmp_path, text) == [readable, port]
    assert suspicions(tmp_path, f"{text}tls = {{}}\n") == [readable]
