"""Small sound configs to change, and the kinds of the fixtures that read them."""

from collections.abc import Callable

from leerie.config.building import Building

Build = Callable[..., Building]
Refuse = Callable[..., list[str]]

SITE = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
"""
WORKSHOP = f"""{SITE}
[day_parts.night]
starts = "22:00"
[day_parts.day]
starts = "08:00"
[sensors.radar]
kind = "presence"
topic = "radar"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$byte"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench"]
[rooms.workshop.scenes]
day = {{ bench = 1 }}
night = {{ bench = 0.2 }}
"""
