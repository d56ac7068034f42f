"""A room looks again when a lamp has a step to go, and tells its lamps the same as if it looked at every step."""

import itertools
from random import Random

import pytest
from walker import Walker, house, instant

from leerie import aiming
from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS, Now

HOUSE = """
[service]
drift = "{drift}"
[daylight]
dark = {dark}
bright = {bright}
scale = "{scale}"
cloud = {{ topic = "weather", unit = "fraction", expires = "{expires}" }}
outdoor = {{ topic = "roof", expires = "{expires}" }}
[day_parts.day]
starts = "07:00"
blend = "{blend}"
[day_parts.dusk]
starts = "sunset - 50m"
blend = "{long_blend}"
[day_parts.evening]
starts = "sunset - 20m"
blend = "{blend}"
kelvin = 2700
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = "7d"
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = {{ out = "$level", white = "$mired" }}
kelvin = [2200, 6500]
refresh = "{refresh}"
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
lumens = 900
refresh = "never"
[fixtures.panel]
kind = "colour"
topic = "panel"
payload = {{ x = "$x", y = "$y", out = "$level" }}
lumens = 4000
refresh = "never"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench", "shelf", "panel"]
confirm = "0s"
area = 14
daylight_factor = {factor}
meter = {{ topic = "lux", expires = "{expires}" }}
[rooms.workshop.scenes.day]
bench = {{ follow = [0.35, 1.0], kelvin = {{ sun = [2700, 6000] }} }}
shelf = {{ follow = [0.8, 0.0] }}
panel = {{ lux = 400 }}
[rooms.workshop.scenes]
dusk = {{ bench = 0.7, shelf = {{ lux = 60 }}, panel = {{ level = 0.5, xy = [0.3, 0.55] }} }}
evening = {{ bench = {{ level = 0.4, kelvin = 2200 }}, panel = {{ follow = [0.6, 0.0], xy = [0.5, 0.4] }} }}
"""
SUNNY = """
[daylight]
bright = 200000
[day_parts.day]
starts = "00:00"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$level"
refresh = "never"
[rooms.workshop]
fixtures = ["bench"]
[rooms.workshop.scenes]
day = { bench = { follow = [0.0, 1.0] } }
"""
SAYS = (
    *(("radar", word) for word in ("on", "on", "on", "off")),
    *(("weather", word) for word in ("0", "0.4", "1")),
    *(("roof", word) for word in ("300", "2500", "9000", "40000")),
    *(("lux", word) for word in ("0", "150", "700")),
    *(("leerie/room/workshop/ask", word) for word in ("light", "dark")),
    ("leerie/room/workshop/bias", '{"bias": 0.3, "for": "1h"}'),
    ("leerie/room/workshop/hold", '{"hold": true, "level": 0.5, "for": "20m"}'),
)
PLACES = ((55.86, -4.24, "Europe/London"), (-0.18, -78.47, "America/Guayaquil"), (69.65, 18.96, "Europe/Oslo"))


def told(seed: int, monkeypatch: pytest.MonkeyPatch, *, every_step: bool) -> list[tuple[int, str, float, int | None]]:
    """What the lamps of that seed's building are told in half a day, and when."""
    random = Random(seed)
    text = HOUSE.format(
        drift=random.choice(["10s", "10s", "30s", "7s"]),
        dark=random.choice([1, 100]),
        bright=random.choice([20_000, 60_000]),
        scale=random.choice(["log", "linear"]),
        expires=random.choice(["7m", "45m"]),
        blend=random.choice(["0s", "2m", "11m"]),
        long_blend=random.choice(["2m", "1h"]),
        refresh=random.choice(["5m", "never"]),
        factor=random.choice([0, 1, 4]),
    )
    latitude, longitude, zone = random.choice(PLACES)
    start = instant(
        f"2026-{random.randrange(1, 13):02}-{random.randrange(1, 28):02}T{random.randrange(24):02}:31:07+00:00"
    )
    with monkeypatch.context() as patch:
        if every_step:
            patch.setattr(aiming, "FAR_MS", 0)
        walker = Walker(house(text, latitude, longitude, zone), now=start)
        walker.say("radar", "on")
        while walker.now.steady < start.steady + 12 * HOUR_MS:
            walker.pass_ms(random.randrange(random.choice([20 * SECOND_MS, 10 * MINUTE_MS, 3 * HOUR_MS])))
            if random.random() < 0.8:
                walker.say(*random.choice(SAYS))
    return [(at, note.fixture, round(note.level, 6), note.kelvin) for at, note in walker.told]


@pytest.mark.parametrize("seed", range(16))
def test_looking_ahead_tells_the_lamps_the_same_as_looking_at_every_step(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    ahead = told(seed, monkeypatch, every_step=False)
    each = told(seed, monkeypatch, every_step=True)
    assert ahead == each


def test_looking_ahead_looks_seldom(monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour of an ordinary morning takes a tenth of the looks that the grid would."""
    looks = 0
    real = aiming.Aiming.work_out

    def counted(*args: object, **named: object) -> object:
        nonlocal looks
        looks += 1
        return real(*args, **named)  # type: ignore[arg-type] # handed through as they came

    monkeypatch.setattr(aiming.Aiming, "work_out", counted)
    told(3, monkeypatch, every_step=False)
    ahead, looks = looks, 0
    told(3, monkeypatch, every_step=True)
    assert ahead < looks / 4


def test_a_set_clock_is_looked_at_at_the_next_step() -> None:
    """What was foreseen by the old wall clock is void."""
    walker = Walker(house(SUNNY), now=instant("2026-06-21T11:30:07+00:00"))
    walker.pass_("2m")
    before = walker.level("bench")
    walker.forget()
    walker.now = Now(walker.now.steady, walker.now.wall - 7 * HOUR_MS * 1_000)
    began = walker.now.steady
    walker.take(walker.controller.advance(walker.now))
    assert walker.told == [], "no lamp moves between two steps"
    walker.pass_("1m")
    steps = walker.telling("bench")
    assert len(steps) >= 2
    assert all(at % 10_000 == 0 for at, _ in steps)
    assert steps[0][0] - began <= 30_000
    assert before - steps[-1][1] < 0.035, "and then by no more than eyes follow: 1.25 a minute is 3 % of the way"


def test_a_white_that_goes_with_the_sun_is_told_by_three_reciprocal_megakelvin() -> None:
    """A morning from night on: each telling is a visible step further, and not much more than that."""
    text = SUNNY.replace('kind = "dimmable"', 'kind = "tunable"')
    text = text.replace('"$level"', '{ out = "$level", white = "$kelvin" }')
    text = text.replace("{ follow = [0.0, 1.0] }", "{ level = 0.6, kelvin = { sun = [2700, 5500], high = 40 } }")
    walker = Walker(house(text), now=instant("2026-06-21T01:00:00+00:00"))
    walker.pass_("3m")
    assert walker.shown("bench") == (0.6, 2700)
    walker.forget()
    walker.pass_("10h")
    mired = [1e6 / note.kelvin for _, note in walker.told if note.kelvin is not None]
    steps = [before - after for before, after in itertools.pairwise(mired)]
    assert mired[0] == pytest.approx(1e6 / 2700, abs=3.5)
    assert mired[-1] == pytest.approx(1e6 / 5500, abs=3)
    assert len(steps) > 40
    assert min(steps) >= 3
    assert max(steps) < 3.5
