"""The invented building: plausible people, sensors that really see them, payloads that leerie understands."""

import csv
import statistics
from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path
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
from leerie.rehearsal.world import DAY_US, HOUR_US, MINUTE_US, RADAR_HOLDS_US, Reading, World

SEEDS = (1, 2, 3)
HOME = Path(__file__).resolve().parents[3] / "shared" / "data" / "casas_hh_7d_events.csv"
SITTING = ("bathroom", "bedroom", "livingroom", "workarea")
"""Rooms of that home in which somebody sits or lies."""


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
    """Nor a press or a wish: kept and told later, such an event would light an empty room."""
    events = {sensor.topic for sensor in example.sensors.values() if sensor.kind in ("motion", "button")}
    for topic in (reading.topic for reading in world.standing(monday + 23 * HOUR_US)):
        assert topic not in events
        assert not topic.startswith("leerie/")


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


def _spells(readings: Iterable[Reading], topic: str, present: bytes) -> list[tuple[int, int]]:
    """From when to when a sensor says present; one that says so again meanwhile, to be alive, says nothing new."""
    spells: list[tuple[int, int]] = []
    since: int | None = None
    for reading in readings:
        if reading.topic == topic and reading.payload == present:
            since = reading.at if since is None else since
        elif reading.topic == topic and since is not None:
            spells.append((since, reading.at))
            since = None
    return spells


def test_a_radar_loses_whoever_sits_very_still_for_seconds_or_minutes(world: World, monday: int) -> None:
    """Now and then, and never for so long as they are away from the bench."""
    seen = _spells(world.readings(monday, monday + 5 * DAY_US), "workshop/bench/radar", b'{"target":true}')
    there = [stay for stay in world.stays(monday, monday + 5 * DAY_US) if stay.room == "workshop"]
    lost = [
        (after - before) / SECOND_US
        for (_, before), (after, _) in pairwise(seen)
        if any(stay.start <= before and after <= stay.end for stay in there)
    ]
    assert 10 < len(lost) < 100
    assert min(lost) < 30
    assert statistics.median(lost) < 180
    assert 120 < max(lost) < 15 * 60
    in_sight = sum(end - start for start, end in seen)
    occupied = sum(end - start for start, end in _merged([(stay.start, stay.end) for stay in there]))
    assert 0.8 < in_sight / occupied < 1.0


def _merged(spells: list[tuple[int, int]]) -> list[tuple[int, int]]:
    merged: list[tuple[int, int]] = []
    for start, end in sorted(spells):
        if merged and start <= merged[-1][1] + RADAR_HOLDS_US:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def test_motion_sensors_pulse_like_those_of_a_real_home(world: World, monday: int) -> None:
    """Home: seven days of a smart home of WSU CASAS with one resident (Cook, Crandall, Thomas, Krishnan, IEEE Computer
    46(7):62-69, 2013). Where people sit, silences are far from those of a Poisson process, whose coefficient of
    variation is 1: most are of seconds, some of many minutes.
    """
    lengths, silences = _home()
    readings = world.readings(monday, monday + 5 * DAY_US)
    pulses = _spells(readings, "workshop/pir", b"true")
    invented = statistics.median((end - start) / SECOND_US for start, end in pulses)
    assert min(lengths) <= invented <= max(lengths)
    baths = [stay for stay in world.stays(monday, monday + 5 * DAY_US) if stay.room == "bathroom"]
    moves = [reading.at for reading in readings if reading.topic == "flat/bath/pir"]
    inside = [
        (after - before) / SECOND_US
        for before, after in pairwise(moves)
        if any(stay.start <= before and after <= stay.end for stay in baths)
    ]
    assert min(map(_variation, silences)) > 2
    assert 2 < _variation(inside) < max(map(_variation, silences))


def _home() -> tuple[list[float], list[list[float]]]:
    """Each sensor's middle length of a pulse, and each sitting room's silences (seconds)."""
    if not HOME.exists():
        pytest.skip(f"{HOME.name} is absent")
    begun: dict[str, datetime] = {}
    lengths: defaultdict[str, list[float]] = defaultdict(list)
    moves: list[tuple[datetime, str]] = []
    with HOME.open(newline="") as lines:
        for line in csv.DictReader(lines):
            at, sensor = datetime.fromisoformat(line["timestamp_iso"]), line["sensor"]
            if not sensor.endswith("/pir"):
                continue
            if line["value"] == "ON":
                begun[sensor] = at
                moves.append((at, sensor))
            elif sensor in begun:
                lengths[sensor].append((at - begun.pop(sensor)).total_seconds())
    silences: defaultdict[str, list[float]] = defaultdict(list)
    for (before, there), (after, here) in pairwise(moves):
        if here == there:
            silences[here.split("/")[0]].append((after - before).total_seconds())
    return [statistics.median(found) for found in lengths.values()], [silences[room] for room in SITTING]


def _variation(values: list[float]) -> float:
    return statistics.pstdev(values) / statistics.mean(values)


def test_customers_come_by_the_street_door_and_are_let_in(world: World, monday: int) -> None:
    """Somebody of the house is with them within the minute, and the door does not open for who comes from within."""
    stays = world.stays(monday, monday + 5 * DAY_US)
    customers = _of(stays, "customer")
    hosts = [stay for stay in _of(stays, "apprentice") if stay.room == "shop"]
    assert len(customers) > 5
    for customer in customers:
        assert customer.came_from is customer.goes_to is None
        assert any(host.start <= customer.start + MINUTE_US and host.end >= customer.end for host in hosts)
    opened = [r.at for r in world.readings(monday, monday + 5 * DAY_US) if b"ajar" in r.payload]
    outside = [stay for stay in stays if stay.room == "shop" and None in (stay.came_from, stay.goes_to)]
    for at in opened:
        assert any(abs(at - edge) <= 2 * SECOND_US for stay in outside for edge in (stay.start, stay.end))
    assert len(opened) >= len(customers)


def test_wood_is_fetched_from_under_the_stairs(world: World, monday: int) -> None:
    """From the workshop and straight back, in minutes."""
    stays = world.stays(monday, monday + DAY_US)
    for person in ("maker", "apprentice"):
        trips = [
            way
            for before, way, after in zip(
                _of(stays, person), _of(stays, person)[1:], _of(stays, person)[2:], strict=False
            )
            if (before.room, way.room, after.room) == ("workshop", "stairs", "workshop")
        ]
        assert trips
        assert all(MINUTE_US <= trip.end - trip.start <= 10 * MINUTE_US for trip in trips)


def test_nobody_presses_a_button_in_a_room_where_they_are_not(world: World, monday: int) -> None:
    walls = {"workshop/wall": "workshop", "flat/bedroom/button": "bedroom"}
    stays = world.stays(monday, monday + 3 * DAY_US)
    presses = [reading for reading in world.readings(monday, monday + 3 * DAY_US) if reading.topic in walls]
    assert len(presses) > 10
    for press in presses:
        assert any(stay.room == walls[press.topic] and stay.start <= press.at < stay.end for stay in stays)


def test_a_building_that_nobody_has_thought_of_is_lived_in_too(example: Building, monday: int) -> None:
    """Without rooms of known names people wander through all there are."""
    sensor = msgspec.structs.replace(example.sensors["kitchen_radar"], name="eye", topic="study/eye")
    rooms = {
        name: msgspec.structs.replace(example.rooms["kitchen"], name=name, sensors=("eye",) if name == "study" else ())
        for name in ("study", "cellar", "attic")
    }
    world = World(msgspec.structs.replace(example, rooms=rooms, sensors={"eye": sensor}), 1)
    assert {stay.room for stay in world.stays(monday, monday + DAY_US)} == set(rooms)
    said = {reading.topic for reading in world.readings(monday, monday + 5 * DAY_US)}
    assert "study/eye" in said
    assert {topic.rsplit("/")[-1] for topic in said if topic.startswith("leerie/room/")} == {"hold", "bias"}


def test_weather_is_weather(world: World, monday: int) -> None:
    clouds = [world.cloud(monday + hour * HOUR_US) for hour in range(240)]
    assert all(0 <= cloud <= 1 for cloud in clouds)
    assert max(clouds) - min(clouds) > 0.3
    noon = monday + 12 * HOUR_US
    assert world.outdoor(noon, world.cloud(noon)) > 100 * world.outdoor(monday, world.cloud(monday))
