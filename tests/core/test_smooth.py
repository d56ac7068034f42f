"""Nothing jumps: whole days at several places on Earth, a room that is never left, and what its lamps are told.

The room looks once a minute here, and any difference counts as a visible step: what a lamp is told each minute is its
target. That it jumps at a day part's start without a blend, with somebody's coming or with an ask, is meant, and there
is none of them here.
"""

import json
import math
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from random import Random
from zoneinfo import ZoneInfo

import msgspec
import pytest
from walker import Walker, house

from leerie import aiming, colour
from leerie.daylight.outdoors import Skies
from leerie.now import MINUTE_MS, Now
from leerie.outlet import slot
from leerie.targets.levels import COMES_BACK_SHARE, RESTING

HOUSE = """
[service]
drift = "1m"
[daylight]
dark = 100
bright = 20000
assume_cloud = {cover}
outdoor = {{ topic = "roof", expires = "15m" }}
cloud = {{ topic = "weather", unit = "fraction", expires = "2h" }}
[day_parts.day]
starts = "dawn"
earliest = "04:30"
latest = "07:00"
blend = "{blends[0]}m"
[day_parts.dusk]
starts = "sunset - 20m"
earliest = "15:30"
latest = "21:00"
blend = "{blends[1]}m"
[day_parts.night]
starts = "22:30"
blend = "{blends[2]}m"
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = "7d"
[fixtures.rising]
kind = "tunable"
topic = "rising"
payload = {{ out = "$level", white = "$kelvin" }}
refresh = "never"
[fixtures.falling]
kind = "dimmable"
topic = "falling"
payload = "$level"
refresh = "never"
[fixtures.dimming]
kind = "dimmable"
topic = "dimming"
payload = "$level"
refresh = "never"
[fixtures.wall]
kind = "dimmable"
topic = "wall"
payload = "$level"
lumens = {lumens}
refresh = "never"
[fixtures.desk]
kind = "dimmable"
topic = "desk"
payload = "$level"
lumens = 1000
refresh = "never"
[fixtures.panel]
kind = "colour"
topic = "panel"
payload = {{ x = "$x", y = "$y", out = "$level" }}
refresh = "never"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["rising", "falling", "dimming", "wall", "desk", "panel"]
confirm = "0s"
area = 10
daylight_factor = {factor}
[rooms.workshop.scenes.day]
rising = {{ follow = [{low}, {high}], kelvin = {{ sun = [2300, 6200] }} }}
falling = {{ follow = [{high}, 0.0] }}
dimming = {{ follow = [{high}, {low}] }}
wall = {{ lux = {lux} }}
desk = {{ lux = {lux} }}
panel = {{ level = 0.6, xy = [0.25, 0.5] }}
[rooms.workshop.scenes.dusk]
rising = {{ follow = [0.0, {high}], kelvin = {{ sun = [2300, 6200] }} }}
falling = {{ follow = [{high}, 0.0] }}
dimming = 0.3
wall = {{ lux = {lux} }}
desk = {{ lux = {lux} }}
panel = {{ follow = [0.7, 0.2], xy = [0.55, 0.35] }}
[rooms.workshop.scenes.night]
rising = {{ level = 0.2, kelvin = 2300 }}
dimming = {{ follow = [{low}, {high}] }}
wall = 0.1
panel = {{ level = 0.3, kelvin = 2700 }}
"""
LAMPS = ("rising", "falling", "dimming", "wall", "desk", "panel")
LUX_LAMPS = ("wall", "desk")
PLACES = {
    "glasgow": (55.8569, -4.2448, "Europe/London"),
    "quito": (-0.18, -78.47, "America/Guayaquil"),
    "tromso": (69.65, 18.96, "Europe/Oslo"),
    "auckland": (-36.85, 174.76, "Pacific/Auckland"),
}
MINUTES = 24 * 60
STEP_OF_THE_WAY = math.log(1.25) / math.log(20_000 / 100)
"""Of the way from `dark` to `bright`: what the slowed light outdoors can move in a minute, 4.2 %."""
Word = tuple[str, str]
"""A topic and what is said on it."""


class Minute(msgspec.Struct):
    """What the lamps were last told at a minute of the day."""

    part: str | None
    share: float
    """How much of a blend passes in a minute now; 0: none is under way."""
    levels: dict[str, float]
    kelvin: int
    """Of the one tunable lamp."""
    xy: tuple[float, float]
    """Of the one colour lamp."""


class Day:
    """One seed's house and day."""

    def __init__(self, place: str, seed: int) -> None:
        self.random = random = Random(f"{place} {seed}")
        latitude, longitude, zone = PLACES[place]
        lux, lumens, factor = (
            random.choice([150, 300, 500]),
            random.choice([14_000, 24_000]),
            random.choice([0.5, 1, 2, 4]),
        )
        self.light_share = lux / ((lumens + 1_000) * 0.5 * 0.8 / 10)
        """The wanted illuminance per what the lamps bring at full, lumens · utilisation · maintenance / area."""
        low, high = random.uniform(0.05, 0.4), random.uniform(0.6, 1.0)
        blends = random.choice([(2, 2, 2), (45, 45, 45), (2, 45, 20), (30, 2, 45)])
        self.blends = dict(zip(("day", "dusk", "night"), blends, strict=True))
        self.ranges: dict[str, dict[str | None, tuple[float, float]]] = {
            "rising": {"day": (low, high), "dusk": (0.0, high), "night": (0.2, 0.2)},
            "falling": {"day": (0.0, high), "dusk": (0.0, high), "night": (0.0, 0.0)},
            "dimming": {"day": (low, high), "dusk": (0.3, 0.3), "night": (low, high)},
            "panel": {"day": (0.6, 0.6), "dusk": (0.2, 0.7), "night": (0.3, 0.3)},
        }
        text = HOUSE.format(
            cover=random.choice([0, 0.3, 0.6, 0.9, 1]),
            blends=blends,
            lumens=lumens,
            factor=factor,
            low=low,
            high=high,
            lux=lux,
        )
        day = date(2026, 1, 1) + timedelta(days=random.randrange(365))
        begins = datetime.combine(day, time(random.choice([0, 12])), ZoneInfo(zone))
        self.begins = Now(83 * MINUTE_MS, round(begins.timestamp() * 1e6))
        self.building = house(text, latitude, longitude, zone)

    def minutes(self, said: Callable[[int], Word | None] = lambda _: None) -> Iterator[Minute]:
        """The day from its first look on; `said`: what is heard at a minute."""
        walker = Walker(self.building, now=self.begins)
        walker.say("radar", "on")
        levels, kelvin, xy = dict.fromkeys(LAMPS, 0.0), 0, (0.0, 0.0)
        part, since = walker.views["workshop"].part, MINUTES
        for minute in range(MINUTES):
            if (word := said(minute)) is not None:
                walker.say(*word)
            walker.pass_ms(MINUTE_MS)
            for _, note in walker.told:
                levels[note.fixture] = note.level
                kelvin = (note.kelvin or kelvin) if note.fixture == "rising" else kelvin
            for _, publish in walker.published:
                if publish.topic == "panel":
                    told = json.loads(publish.payload)
                    xy = (told["x"], told["y"])
            walker.forget()
            before, part = part, walker.views["workshop"].part
            since = 0 if part != before else since + 1
            blend = self.blends.get(part or "", 0)
            yield Minute(part, 1 / blend if since <= blend else 0.0, dict(levels), kelvin, xy)

    def span(self, lamp: str, part: str | None, share: float) -> tuple[float, float]:
        """How far the lamp may move with daylight in this part, and how far the blend may take it."""
        ranges = self.ranges[lamp]
        known = list(ranges.values()) if share else [ranges[part]]
        apart = max(high for _, high in known) - min(low for low, _ in known)
        return max(high - low for low, high in known), apart


@pytest.fixture(autouse=True)
def _every_difference_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LEVEL_STEP", "WHITE_STEP_MK", "COLOUR_STEP"):
        monkeypatch.setattr(slot, name, 1e-9)
    monkeypatch.setattr(aiming, "FAR_MS", 0)


def follow_slowly(day: Day, minutes: Sequence[Minute]) -> None:
    """Lamps that follow daylight move by no more than the slowed light does, and with a blend by its share."""
    for before, now in pairwise(minutes):
        for lamp in day.ranges:
            was, is_now = before.levels[lamp], now.levels[lamp]
            assert math.isfinite(is_now)
            assert 0 <= is_now <= 1
            share = max(before.share, now.share)
            moves, blends = day.span(lamp, now.part, share)
            most = STEP_OF_THE_WAY * moves + share * blends + 1e-9
            if (was == 0) is not (is_now == 0):
                # From the rest at low-end trim to off; or back, where daylight is first seen far enough away.
                most += RESTING + COMES_BACK_SHARE * moves
            assert abs(is_now - was) <= most, f"{lamp} {was} -> {is_now} in {now.part}"


def maintain_slowly(minutes: Sequence[Minute], most: float) -> None:
    """Lamps that maintain an illuminance: so much of their light at full is the most they move by in a minute.

    Light, not level: the level is the root of the light, and moves at any speed where it is nearly out.
    """
    for before, now in pairwise(minutes):
        for lamp in LUX_LAMPS:
            was, is_now = before.levels[lamp], now.levels[lamp]
            assert math.isfinite(is_now)
            assert 0 <= is_now <= 1
            share = max(before.share, now.share)
            if share:
                assert abs(is_now - was) <= share + math.sqrt(most) + 1e-9, f"{lamp} {was} -> {is_now} in {now.part}"
            else:
                assert abs(is_now * is_now - was * was) <= most + 1e-9, f"{lamp} {was} -> {is_now} in {now.part}"


def whiten_slowly(minutes: Sequence[Minute]) -> None:
    """Whites by MK⁻¹, colours by CIE 1976 u′v′."""
    whites = 1e6 / 2300 - 1e6 / 6200
    for before, now in pairwise(minutes):
        share = max(before.share, now.share)
        # The sun climbs by no more than 360° a day: 0.25° a minute, of the 30° from warm to cool; and whole kelvins.
        assert abs(1e6 / now.kelvin - 1e6 / before.kelvin) <= (share + 0.25 / 30) * whites + 0.2
        uv = (colour.uv_prime(*now.xy), colour.uv_prime(*before.xy))
        corners = [colour.uv_prime(*xy) for xy in ((0.25, 0.5), (0.55, 0.35), colour.chromaticity(2700))]
        apart = max(math.dist(one, other) for one in corners for other in corners)
        assert math.dist(*uv) <= share * apart + 5e-4


def go_with_the_light(day: Day, minutes: Sequence[Minute]) -> None:
    """While it gets brighter outdoors nothing that daylight dims gets brighter, and the other way round."""
    skies = Skies(day.building)
    outdoors = [skies.at(day.begins.at(day.begins.steady + (count + 1) * MINUTE_MS)) for count in range(MINUTES)]
    for (past, before), (sky, now) in pairwise(zip(outdoors, minutes, strict=True)):
        if (
            now.part != "day"
            or now.share
            or before.share
            or (sky.outdoor > past.outdoor) is not (sky.diffuse > past.diffuse)
        ):
            continue
        earlier, later = (before, now) if sky.outdoor > past.outdoor else (now, before)
        assert later.levels["rising"] >= earlier.levels["rising"] - 1e-12
        for lamp in ("falling", "dimming", *LUX_LAMPS):
            if max(earlier.levels[lamp], later.levels[lamp]) > RESTING:
                assert lit(later.levels[lamp]) <= lit(earlier.levels[lamp]) + 1e-12, lamp


def lit(level: float) -> float:
    """The level, low-end trim being the least: whatever is below it looks the same."""
    return level if level == 0 else max(RESTING, level)


SEEDS = [(place, seed) for place in PLACES for seed in range(2)]


@pytest.mark.parametrize(("place", "seed"), SEEDS)
def test_a_day_without_readings(place: str, seed: int) -> None:
    day = Day(place, seed)
    minutes = list(day.minutes())
    follow_slowly(day, minutes)
    maintain_slowly(minutes, 0.02)
    whiten_slowly(minutes)
    go_with_the_light(day, minutes)


def outbursts(random: Random) -> dict[int, Word]:
    """Readings that jump at any minute of the day, and go stale."""
    said: dict[int, Word] = {}
    for minute in sorted(random.sample(range(MINUTES), 70)):
        lux = random.choice([0.0, random.uniform(0, 130_000), 10 ** random.uniform(0, 5)])
        said[minute] = random.choice(
            [("roof", f"{lux:.1f}"), ("roof", f"{lux:.1f}"), ("weather", f"{random.random():.2f}")]
        )
    return said


@pytest.mark.parametrize(("place", "seed"), SEEDS)
def test_a_day_of_readings_that_jump(place: str, seed: int) -> None:
    day = Day(place, seed)
    minutes = list(day.minutes(outbursts(day.random).get))
    follow_slowly(day, minutes)
    # Only daylight below what is wanted moves these lamps, and it grows by a quarter in a minute.
    maintain_slowly(minutes, 0.25 * day.light_share)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("seed", range(2))
def test_more_light_outdoors_never_brightens_what_it_dims(place: str, seed: int) -> None:
    """Two days that differ in nothing but that one has more light outdoors at each minute.

    On every other such day the sky stays so dull that all its light is diffuse. Else the greater light may well be that
    of the sun, with less from the sky; and what comes in at the windows is the sky's.
    """
    day = Day(place, seed)
    random, dull = day.random, seed % 2 == 0
    skies = Skies(day.building)
    darker: dict[int, Word] = {}
    brighter: dict[int, Word] = {}
    for minute in range(0, MINUTES, 5):
        clear = skies.at(day.begins.at(day.begins.steady + minute * MINUTE_MS)).clear
        lux = clear * random.uniform(0, 0.015) if dull else 10 ** random.uniform(0, 4.5)
        darker[minute] = ("roof", f"{lux}")
        brighter[minute] = ("roof", f"{lux * random.choice([1, 1.01, 1.5, 8])}")
    for less, more in zip(day.minutes(darker.get), day.minutes(brighter.get), strict=True):
        assert lit(more.levels["falling"]) <= lit(less.levels["falling"]) + 1e-12
        if less.part == "day" and not less.share:
            assert more.levels["rising"] >= less.levels["rising"] - 1e-12
            assert more.levels["dimming"] <= less.levels["dimming"] + 1e-12
            for lamp in LUX_LAMPS if dull else ():
                assert lit(more.levels[lamp]) <= lit(less.levels[lamp]) + 1e-12
