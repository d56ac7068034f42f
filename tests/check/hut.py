"""An invented config to check, and to change."""

from collections.abc import Callable

HUT = """
[site]
name = "The luthier's hut"
latitude = 55.86
longitude = -4.24
timezone = "Europe/London"
days_off = ["2026-04-06"]
bed = "night"
[day_parts]
day.starts = [{ at = "07:00", days = ["workday"] }, { at = "09:00" }]
evening = { starts = "18:00", kelvin = 2700 }
night.starts = "23:00"
[sensors]
radar = { kind = "presence", topic = "hut/radar" }
pir = { kind = "motion", topic = "hut/pir" }
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = "$byte $kelvin"
curve = "square"
kelvin = [2700, 6500]
lumens = 1000
[fixtures.sign]
kind = "switched"
topic = "sign"
lumens = 100
[rooms.hut]
sensors = ["pir"]
keep = ["radar"]
fixtures = ["bench", "sign"]
area = 10
[rooms.hut.scenes]
day = { bench = { follow = [0.5, 1], kelvin = { sun = [3000, 5000] } }, sign = 1 }
evening = { bench = 0.5 }
night = {}
vacant = { bench = 0.1 }
asked = { bench = { lux = 20, kelvin = 2700 } }
"""

Check = Callable[..., int]
"""Checks a config, as text, with further arguments; returns the exit code."""
