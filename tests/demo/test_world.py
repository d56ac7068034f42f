"""The invented building: plausible people, sensors that really see them, payloads that leerie understands."""

from datetime import date
from itertools import pairwise
from zoneinfo import ZoneInfo

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leerie.config.building import Building
from leerie.daylight import civil
from leerie.intake.intake import Intake
from leerie.messages import Message
from leerie.notes import Refused
from leerie.rehearsal.people import SECOND_US, Stay
from leerie.rehearsal.world import DAY_US, HOUR_US, World

SEEDS = (1, 2, 3)


@pytest.fixture(params=SEEDS)
def world(example: Building, request: pytest.FixtureRequest) -> World:
    return World(example, request.param)


@pytest.fixture(scope="session")
def monday(example: Building) -> int:
    return civil.moment(ZoneInfo(example.site.timezone), date(2026, 1, 12), 0)


def _of(stays: tuple[Stay, ...], person: str) -> list[Stay]:
    return [stay for stay in stays if stay.person == person]


def test_nobody_is_in_two_rooms_at_once(world: World, monday: int) -> None:
    stays = world.stays(monday, monday + 3 * DAY_US)
    for person in {stay.person: None for stay in stays}:
        assert all(before.end <= after.start for before, after in pairwise(_of(stays, person)))


def test_one_gets_upstairs_and_down_by_the_stairs_alone(world: World, monday: int) -> None:
    """Between the workshop below and the flat above there is always a stay on the stairs."""
    above = ("kitchen", "bedroom", "bathroom")
    stays = _of(world.stays(monday, monday + 3 * DAY_US), "maker")
    assert {"workshop", "kitchen", "stairs"} <= {stay.room for stay in stays}
    for before, after in pairwise(stays):
        if before.end == after.start and "stairs" not in (before.room, after.room):
            assert (before.room in above) == (after.room in above)


def test_everybody_lives_to_the_same_seed(example: Building, monday: int) -> None:
    def day(seed: int) -> list[bytes]:
        return [msgspec.json.encode(r) for r in World(example, seed).readings(monday, monday + DAY_US)]

    assert day(1) == day(1)
    assert day(1) != day(2)


@settings(max_examples=20, deadline=None)
@given(cuts=st.lists(st.integers(0, DAY_US), max_size=6).map(sorted))
def test_a_day_told_in_pieces_is_the_day_told_at_once(example: Building, monday: int, cuts: list[int]) -> None:
    world = World(example, 1)
    edges = [monday, *(monday + cut for cut in cuts), monday + DAY_US]
    pieces = [reading for start, end in pairwise(edges) for reading in world.readings(start, end)]
    assert pieces == world.readings(monday, monday + DAY_US)


def test_leerie_understands_everything_its_sensors_say(example: Building, world: World, monday: int) -> None:
    """The payloads are made from the config by other code than reads them: the two must agree."""
    intake = Intake(example)
    readings = [*world.standing(monday), *world.readings(monday, monday + 2 * DAY_US)]
    heard = [intake.take(Message(reading.topic, reading.payload, retained=False)) for reading in readings]
    assert [result for results in heard for result in results if isinstance(result, Refused)] == []
    assert all(heard)


def test_what_the_broker_keeps_is_never_a_movement(example: Building, world: World, monday: int) -> None:
    """A pulse of a motion sensor or a button's press is an event: kept and told later, it would light an empty room."""
    events = {sensor.topic for sensor in example.sensors.values() if sensor.kind in ("motion", "button")}
    assert all(reading.topic not in events for reading in world.standing(monday + 12 * HOUR_US))


def test_whoever_comes_in_is_seen_within_two_seconds(world: World, monday: int) -> None:
    """By the kitchen's radar, which says present and absent and is not told twice."""
    readings = [r for r in world.readings(monday, monday + DAY_US) if r.topic == "flat/kitchen/radar"]
    seen = [(r.at, b"true" in r.payload) for r in readings]
    assert all(before != after for (_, before), (_, after) in pairwise(seen))
    for stay in world.stays(monday, monday + DAY_US):
        if stay.room == "kitchen" and stay.start > monday and stay.end - stay.start > 10 * SECOND_US:
            state = [present for at, present in seen if at <= stay.start + 2 * SECOND_US]
            assert state
            assert state[-1]


def test_a_motion_sensor_misses_whoever_sits_still(world: World, monday: int) -> None:
    """Somebody is in the workshop all the while, and its motion sensor says nothing for minutes: hence the grace."""
    pulses = [
        r.at for r in world.readings(monday, monday + DAY_US) if r.topic == "workshop/pir" and r.payload == b"true"
    ]
    bench = [stay for stay in world.stays(monday, monday + DAY_US) if stay.room == "workshop"]
    still = [b - a for a, b in pairwise(pulses) if any(stay.start <= a and b <= stay.end for stay in bench)]
    assert max(still) > 120 * SECOND_US


def test_a_sensor_that_must_rest_is_silent_meanwhile(example: Building, world: World, monday: int) -> None:
    rests_us = example.sensors["stair_pir"].rests_ms * 1_000
    pulses = [r.at for r in world.readings(monday, monday + DAY_US) if r.topic == "stair/pir"]
    assert len(pulses) > 2
    assert all(after - before >= rests_us for before, after in pairwise(pulses))


def test_a_building_that_nobody_has_thought_of_is_lived_in_too(example: Building, monday: int) -> None:
    """Without rooms of known names people wander through all there are."""
    sensor = msgspec.structs.replace(example.sensors["kitchen_radar"], name="eye", topic="study/eye")
    rooms = {
        name: msgspec.structs.replace(example.rooms["kitchen"], name=name, sensors=("eye",) if name == "study" else ())
        for name in ("study", "cellar", "attic")
    }
    world = World(msgspec.structs.replace(example, rooms=rooms, sensors={"eye": sensor}), 1)
    assert {stay.room for stay in world.stays(monday, monday + DAY_US)} == set(rooms)
    assert any(reading.topic == "study/eye" for reading in world.readings(monday, monday + DAY_US))


def test_weather_is_weather(world: World, monday: int) -> None:
    clouds = [world.cloud(monday + hour * HOUR_US) for hour in range(240)]
    assert all(0 <= cloud <= 1 for cloud in clouds)
    assert max(clouds) - min(clouds) > 0.3
    assert world.outdoor(monday + 12 * HOUR_US) > 100 * world.outdoor(monday)
