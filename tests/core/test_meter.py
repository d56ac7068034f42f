"""A room whose light is not what the lumen method says, its meter, and lamps that go by it: the loop closed.

What the loop comes to, by hand. All in lx on the task plane: E is wanted, D the true daylight, L what the lumen method
says of the lamps, k · L what they really bring; c = lamps/daylight are the meter's factors. A reading is
lamps · k · L + daylight · D, the daylight that it makes is (reading − lamps · L)/daylight = D + (k − 1) c L, not below
0, and the lamps are set to L = E − that, within 0 and full. At rest therefore

    L = (E − D)/(1 + (k − 1) c), or where that makes a daylight below 0, L = E.

With c = 1 the room has D + k L = E: what was wanted, however wrong the lumen method is. Where the lamps bring less than
it says (k < 1) and daylight is scarce, the estimate ends at 0 and the room stays darker than wanted.

A step takes what is wrong by 1 − 0.3 (1 + (k − 1) c) times.
"""

import json
import math
from collections.abc import Callable
from itertools import pairwise
from random import Random

import msgspec
import pytest
from walker import Walker, house, instant

from leerie.daylight import here as heres
from leerie.daylight.outdoors import Skies
from leerie.now import Now
from leerie.outlet.slot import LEVEL_STEP
from leerie.reasons import Maintains

HOUSE = """
[day_parts.day]
starts = "00:00"
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = "7d"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$level"
curve = "square"
lumens = 9000
fade = "{fade}s"
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
curve = "square"
lumens = 7000
fade = "{fade}s"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench", "shelf"]
confirm = "0s"
area = 8
daylight_factor = {factor}
meter = {{ topic = "lux", pointer = "/lx", expires = "10m", lamps = {lamps}, daylight = {daylight} }}
scenes = {{ day = {{ bench = {{ lux = 500 }}, shelf = {{ lux = 500 }} }} }}
"""
WANTED = 500.0
LUMENS = {"bench": 9000, "shelf": 7000}
FULL = 16_000 * 0.5 * 0.8 / 8
"""What both lamps bring at full by the lumen method: lumens · utilisation · maintenance / area, 800 lx."""
NOON = instant("2026-03-02T12:00:00+00:00")
MINUTE = 60
HOUR = 60 * MINUTE
TIMES = (0.7, 1.0, 1.5, 2.0, 3.0)
"""What lamps really bring for each lx that the lumen method says."""


class Gauge(msgspec.Struct, frozen=True):
    """How the meter measures, and when it speaks."""

    every: int = 5
    """s"""
    noise: float = 0.0
    """Standard deviation as a share of the reading."""
    lags: float = 0.0
    """Time constant, s."""
    late: int = 0
    """Its reports tell what it saw so many seconds before."""
    step: float = 0.1
    """lx it rounds to."""
    lamps: float = 1.0
    daylight: float = 1.0


GAUGES = (
    Gauge(),
    Gauge(every=30, step=1),
    Gauge(every=60, step=5),
    Gauge(lags=3),
    Gauge(late=5),
    Gauge(every=60, late=20, lags=3),
    Gauge(lamps=0.4, daylight=0.8),
    Gauge(every=30, lamps=0.9, daylight=0.6),
)


class LampHere:
    """A lamp's true output, on its way from one to the next."""

    def __init__(self) -> None:
        self.output = self.goal = self.rate = 0.0

    def told(self, level: float, fade: int) -> None:
        assert math.isfinite(level)
        assert 0 <= level <= 1
        self.goal = level * level
        self.rate = abs(self.goal - self.output) / max(fade, 1)

    def second(self) -> None:
        self.output += min(self.rate, max(-self.rate, self.goal - self.output))


class World:
    """The workshop as it is, around a controller that only knows what it is told."""

    def __init__(
        self,
        times: float,
        daylight: Callable[[int], float],
        gauge: Gauge | None = None,
        *,
        fade: int = 1,
        factor: float = 0.0,
        seed: int = 0,
    ) -> None:
        self.gauge = gauge or Gauge()
        text = HOUSE.format(fade=fade, factor=factor, lamps=self.gauge.lamps, daylight=self.gauge.daylight)
        self.walker = Walker(house(text), now=NOON)
        self.times, self.daylight, self.fade = times, daylight, fade
        self.speaks = True
        self.second = 0
        self.lights: list[float] = []
        """What was on the task plane each second, lx."""
        self._random = Random(seed)
        self._lamps = {name: LampHere() for name in LUMENS}
        self._taken = 0
        self._seen = [self._shines]
        self.walker.say("radar", "on")

    @property
    def _lamps_bring(self) -> float:
        return self.times * FULL * sum(LUMENS[name] * lamp.output for name, lamp in self._lamps.items()) / 16_000

    @property
    def _shines(self) -> float:
        """On the meter."""
        return self.gauge.lamps * self._lamps_bring + self.gauge.daylight * self.daylight(self.second)

    @property
    def level(self) -> float:
        levels = {self.walker.level(name) for name in LUMENS}
        assert len(levels) == 1, "lamps that maintain an illuminance together burn alike"
        return levels.pop()

    def run(self, seconds: int) -> list[float]:
        """Time passes. Returns the light on the task plane in each second of it."""
        for _ in range(seconds):
            self.walker.pass_ms(1_000)
            self.second += 1
            self._burn()
            if self.speaks and self.second % self.gauge.every == 0:
                self.report(self._reading())
        return self.lights[-seconds:]

    def report(self, reading: float) -> None:
        self.walker.say("lux", json.dumps({"lx": reading}))

    def restart(self, boot: str, steady: int) -> None:
        """The controller begins anew, from the record as it was last written."""
        now = Now(steady, self.walker.now.wall)
        self.walker = Walker(self.walker.building, self.walker.memory, now, boot=boot)
        self._taken = 0
        self.walker.say("radar", "on")

    def _burn(self) -> None:
        for _, publish in self.walker.published[self._taken :]:
            if publish.topic in self._lamps:
                self._lamps[publish.topic].told(float(publish.payload), self.fade)
        self._taken = len(self.walker.published)
        for lamp in self._lamps.values():
            lamp.second()
        self.lights.append(self._lamps_bring + self.daylight(self.second))
        share = 1 - math.exp(-1 / self.gauge.lags) if self.gauge.lags else 1.0
        self._seen.append(self._seen[-1] + share * (self._shines - self._seen[-1]))

    def _reading(self) -> float:
        seen = self._seen[max(0, len(self._seen) - 1 - self.gauge.late)]
        noisy = max(0.0, seen * (1 + self._random.gauss(0, self.gauge.noise)))
        return round(noisy / self.gauge.step) * self.gauge.step


def unchanging(lux: float) -> Callable[[int], float]:
    return lambda _: lux


def cloud_passes(lux: float, begins: int) -> Callable[[int], float]:
    """Falls to a third within a minute from `begins` (s), and comes back within another after ten."""

    def daylight(second: int) -> float:
        falls = min(1.0, max(0.0, (second - begins) / MINUTE))
        rises = min(1.0, max(0.0, (second - begins - 11 * MINUTE) / MINUTE))
        return lux * (1 - 2 / 3 * (falls - rises))

    return daylight


def at_rest(times: float, daylight: float, gauge: Gauge) -> float:
    """L: see above."""
    part = 1 + (times - 1) * gauge.lamps / gauge.daylight
    lamps = min(FULL, max(0.0, (WANTED - daylight) / part))
    return lamps if WANTED - lamps >= 0 and daylight + (part - 1) * lamps >= 0 else min(FULL, WANTED)


def settling(times: float, gauge: Gauge) -> int:
    """Seconds until one part in a thousand is left of what was wrong; a step may have to wait for two reports."""
    left = abs(1 - heres.METER_SHARE * (1 + (times - 1) * gauge.lamps / gauge.daylight))
    steps = math.log(0.001) / math.log(max(0.1, left)) + 3
    return math.ceil(steps * (max(gauge.every, 10) + gauge.late + 3 * gauge.lags + 10))


def directions(walker: Walker, since: int) -> list[bool]:
    """Of the visible steps that the bench lamp was told since then (steady ms): was it up?"""
    levels = [level for at, level in walker.telling("bench") if at >= since]
    return [after > before for before, after in pairwise(levels) if abs(after - before) >= LEVEL_STEP]


def turns(walker: Walker, since: int) -> int:
    """How often the lamp turned about."""
    return sum(before is not after for before, after in pairwise(directions(walker, since)))


@pytest.mark.parametrize("gauge", GAUGES, ids=repr)
@pytest.mark.parametrize("times", TIMES)
def test_it_settles_where_the_rule_says(times: float, gauge: Gauge) -> None:
    random = Random(f"{times} {gauge}")
    for fade in (1, 6):
        daylight = random.uniform(0, 350)
        world = World(times, unchanging(daylight), gauge, fade=fade)
        world.run(settling(times, gauge) + 10 * MINUTE)
        rest = math.sqrt(at_rest(times, daylight, gauge) / FULL)
        # A lamp is told only visible steps, and what the meter rounds away nobody knows.
        assert world.level == pytest.approx(rest, abs=LEVEL_STEP + gauge.step / gauge.daylight / FULL)


@pytest.mark.parametrize("times", TIMES)
def test_at_rest_the_room_has_what_was_wanted_however_wrong_the_lumen_method(times: float) -> None:
    daylight = 200.0  # enough that (1 − 0.7) L is within it
    world = World(times, unchanging(daylight))
    world.run(30 * MINUTE)
    step = times * 2 * LEVEL_STEP * math.sqrt(at_rest(times, daylight, world.gauge) * FULL)
    assert sum(world.run(10 * MINUTE)) / (10 * MINUTE) == pytest.approx(WANTED, abs=step)


@pytest.mark.parametrize("gauge", GAUGES, ids=repr)
@pytest.mark.parametrize("times", TIMES)
def test_at_rest_no_lamp_goes_up_and_down(times: float, gauge: Gauge) -> None:
    """Without noise there is nothing to answer: a lamp that settled is told no visible step any more."""
    world = World(times, unchanging(120.0), gauge)
    world.run(settling(times, gauge) + 10 * MINUTE)
    since = world.walker.now.steady
    world.run(30 * MINUTE)
    assert turns(world.walker, since) <= 1


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("every", [5, 30, 60])
@pytest.mark.parametrize("times", TIMES)
def test_noise_moves_the_light_no_further_than_it_must(times: float, every: int, seed: int) -> None:
    """Each step adds 0.3 of a reading's noise to the estimate and leaves 1 − 0.3 k of what was wrong: its variance is
    0.09/(1 − (1 − 0.3 k)²) times the noise's.
    """
    gauge = Gauge(every=every, noise=0.03)
    daylight = 200.0
    world = World(times, unchanging(daylight), gauge, seed=seed)
    world.run(settling(times, gauge))
    assert_near_wanted(world, world.run(30 * MINUTE))


def assert_near_wanted(world: World, lights: list[float]) -> None:
    """Five standard deviations, and a visible step."""
    times, daylight = world.times, world.daylight(world.second)
    kept = 1 - 0.3 * times
    deviation = math.sqrt(0.09 / (1 - kept * kept)) * world.gauge.noise * WANTED
    step = times * 2 * LEVEL_STEP * math.sqrt(at_rest(times, daylight, world.gauge) * FULL)
    most = 5 * times * deviation + step
    assert WANTED - most <= min(lights)
    assert max(lights) <= WANTED + most


def test_a_loop_that_believes_each_reading_hunts(monkeypatch: pytest.MonkeyPatch) -> None:
    """That the checks above can fail."""
    monkeypatch.setattr(heres, "METER_SHARE", 1.0)
    world = World(3.0, unchanging(200.0), Gauge(noise=0.03))
    world.run(30 * MINUTE)
    since = world.walker.now.steady
    lights = world.run(HOUR)
    with pytest.raises(AssertionError):
        assert_near_wanted(world, lights)
    assert max(lights) - min(lights) > WANTED
    assert turns(world.walker, since) > 100  # in an hour; it could at most 360 times


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("times", TIMES)
def test_a_cloud_passes(times: float, seed: int) -> None:
    random = Random(f"{times} {seed}")
    gauge = Gauge(random.choice([5, 30, 60]), 0.01, random.choice([0, 3]), random.choice([0, 5]), step=1)
    clear, begins = random.uniform(330, 420), 30 * MINUTE
    world = World(times, cloud_passes(clear, begins), gauge, fade=random.choice([0, 2, 6]), seed=seed)
    world.run(begins)
    lights = world.run(25 * MINUTE)
    fell = 2 / 3 * clear
    swing = world.times * 0.03 * WANTED + 0.1 * WANTED
    assert WANTED - fell - swing <= min(lights)
    assert max(lights) <= WANTED + fell + swing
    # Within the ten minutes of cloud, and in the thirteen after it, the light comes back as the steps allow.
    for ends, minutes in ((11, 10), (25, 13)):
        steps = minutes * MINUTE // (max(gauge.every, 10) + gauge.late + 3 * gauge.lags + 10)
        daylight = world.daylight(begins + ends * MINUTE - 1)
        lamps = at_rest(times, daylight, gauge)
        wrong = times * fell * abs(1 - heres.METER_SHARE * times) ** steps
        last = lights[(ends - 1) * MINUTE : ends * MINUTE]
        assert sum(last) / MINUTE == pytest.approx(daylight + times * lamps, abs=wrong + times * 0.03 * WANTED)


# ---- readings that do not count --------------------------------------------------------------------------------------


@pytest.mark.parametrize("fade", [0, 1, 6])
def test_a_reading_soon_after_a_command_does_not_count(fade: int) -> None:
    """The lamps may still be fading for its fade and 3 s."""
    for late, counts in ((fade * 1_000 + 2_999, False), (fade * 1_000 + 3_000, True)):
        world = World(1.0, unchanging(0.0), fade=fade)
        world.speaks = False
        walker = world.walker
        [told] = walker.telling("bench")
        walker.pass_ms(told[0] + late - walker.now.steady)
        world.report(900.0)  # 400 lx of daylight, with lamps at 500
        walker.pass_("4m")
        # The first estimate is what the lamps go by, 0; it moves by 0.3 of the difference.
        assert (math.sqrt((WANTED - 0.3 * 400) / FULL) == pytest.approx(world.level)) is counts
        assert (math.sqrt(WANTED / FULL) == pytest.approx(world.level)) is not counts


def test_in_a_hands_off_hold_readings_move_nothing() -> None:
    world = World(1.5, unchanging(150.0))
    world.run(30 * MINUTE)
    before = world.level
    walker = world.walker
    walker.say("leerie/room/workshop/hold", '{"hold": true, "for": "ever"}')
    walker.forget()
    world.speaks = False
    for _ in range(60):
        world.report(2_000.0)
        walker.pass_ms(5_000)
    assert walker.told == []
    walker.say("leerie/room/workshop/hold", '{"hold": false}')
    walker.pass_("30s")
    assert world.level == pytest.approx(before, abs=1e-3)


def test_many_readings_between_two_steps_count_as_one() -> None:
    worlds = (World(1.0, unchanging(0.0)), World(1.0, unchanging(0.0)))
    for world, count in zip(worlds, (1, 9), strict=True):
        world.speaks = False
        world.walker.pass_("61s")
        for _ in range(count):
            world.report(900.0)
            world.walker.pass_ms(900 // count)
        world.walker.pass_("4m")
    assert worlds[0].level == worlds[1].level < math.sqrt(WANTED / FULL)


# ---- a meter that falls silent ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("daylight", "factor"), [(30.0, 2.0), (420.0, 0.5), (300.0, 0.0)])
def test_a_meter_that_falls_silent_hands_over_without_a_jump(daylight: float, factor: float) -> None:
    world = World(1.0, unchanging(daylight), factor=factor)
    world.run(30 * MINUTE)
    world.speaks = False
    walker = world.walker
    walker.forget()
    since = walker.now.steady
    by: list[str] = []
    for _ in range(60 * 6):
        walker.pass_ms(10_000)
        by += [step.by for step in walker.reason("bench").steps if isinstance(step, Maintains)]
    # At each telling the lamps are at the level that the daylight gone by asks for: it can be read off them.
    tellings = [(since, math.sqrt((WANTED - daylight) / FULL)), *walker.telling("bench")]
    for (then, before), (now, after) in pairwise(tellings):
        minutes = (now - then) / 60_000
        earlier, later = (WANTED - FULL * level * level for level in (before, after))
        most = 1.25 ** (minutes + 1 / 6) * 1.01  # a step of the grid may have been counted with the one before
        assert max(later, 1) <= max(earlier, 1) * most + 2
        assert max(earlier, 1) <= max(later, 1) * most + 2
    assert by[0] == "meter"
    assert by[-1] == "factor"
    outdoors = Skies(walker.building).at(walker.now).diffuse * factor / 100
    expected = math.sqrt(max(0.0, WANTED - outdoors) / FULL)
    assert world.level == pytest.approx(expected, abs=LEVEL_STEP + 0.003)


# ---- a restart -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("boot", "clock"), [("one boot", None), ("another boot", 7_000)], ids=["same", "other"])
@pytest.mark.parametrize("at", [22 * MINUTE + 7, 31 * MINUTE, 45 * MINUTE], ids=["settled", "cloud", "after"])
@pytest.mark.parametrize("times", [0.7, 1.0, 2.0])
def test_a_restart_leads_where_none_would_have(times: float, at: int, boot: str, clock: int | None) -> None:
    ends: list[float] = []
    for restarts in (False, True):
        world = World(times, cloud_passes(390.0, 30 * MINUTE))
        world.run(at)
        a_minute_ago = world.walker.now.steady - 60_000
        tellings = world.walker.telling("bench")
        known = [level for then, level in tellings if then <= a_minute_ago][-1:]
        known += [level for then, level in tellings if then > a_minute_ago]
        if restarts:
            world.restart(boot, world.walker.now.steady if clock is None else clock)
            first = world.walker.level("bench")
            # What was written last is at most a minute old.
            assert min(known) - LEVEL_STEP <= first <= max(known) + LEVEL_STEP
        world.run(HOUR - at)
        ends.append(world.level)
    assert ends[0] == pytest.approx(ends[1], abs=LEVEL_STEP)
