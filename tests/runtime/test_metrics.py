"""What a scrape sees: counters of what happened, and sums that are right at any moment."""

from datetime import UTC, datetime
from math import isnan
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest
from msgspec.structs import replace
from prometheus_client import generate_latest
from prometheus_client.parser import text_string_to_metric_families

from brokers import Person, free_port
from houses import House, workshop
from leerie.config import load
from leerie.config.building import Building
from leerie.config.running import Broker
from leerie.notes import Commanded, Fault, Heard, Undelivered
from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS, Now
from leerie.runtime.metrics import Metrics
from leerie.views import HoldView, LampView, RoomView, SkyView

HOUSE = """
[site]
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
[day_parts.day]
starts = "08:00"
[day_parts.night]
starts = "22:00"
[sensors.radar]
kind = "presence"
topic = "radar"
[sensors.door]
kind = "door"
topic = "door"
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = { out = "$level", white = "$kelvin" }
[fixtures.sign]
kind = "switched"
topic = "sign"
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
[rooms.workshop]
sensors = ["radar", "door"]
fixtures = ["bench", "sign", "shelf"]
[rooms.workshop.scenes]
day = { bench = 1, sign = 1, shelf = 1 }
night = { bench = 0.1 }
"""
WALL = 1_772_000_000_000_000
KWH = 3.6e6
"""J"""
VIEW = RoomView(
    room="workshop",
    state="vacant",
    occupancy="vacant",
    since=WALL,
    until=None,
    hold=None,
    asked=None,
    bias=0.0,
    part="day",
    outdoor=9_000.0,
    fixtures=(("bench", None), ("sign", None), ("shelf", None)),
    because=(),
    faults=(),
    present=False,
)
HANDS_OFF = HoldView(WALL, None, "ever", None, None, "topic")
SKY = SkyView(WALL, "day", 21.5, 180.0, 0.75, 9_000.0, 8_000.0, "sun+cloud")


def series(text: str, name: str) -> list[float]:
    """What a page says of the metric of that name and, after a space, label value."""
    wanted, *label = name.split()
    samples = [sample for family in text_string_to_metric_families(text) for sample in family.samples]
    named = [sample for sample in samples if sample.name == f"leerie_{wanted}"]
    return [sample.value for sample in named if set(label) <= set(sample.labels.values())]


class Page:
    """A scrape page and the clock it goes by."""

    def __init__(self, building: Building) -> None:
        self.now = Now(1_000_000, WALL)
        self.metrics = Metrics(building, lambda: self.now)

    def pass_(self, ms: int) -> None:
        self.now = self.now.at(self.now.steady + ms)

    def told(self, lamp: str, level: float, kelvin: int | None = None) -> None:
        self.metrics.count([Commanded("workshop", lamp, "occupancy", level, kelvin, 1)])

    def shown(self, **changes: Any) -> None:
        self.metrics.show([replace(VIEW, **changes)])

    def __getitem__(self, name: str) -> float:
        """The one series of that name."""
        found = self.series(name)
        assert len(found) == 1, (name, found)
        return found[0]

    def series(self, name: str) -> list[float]:
        return series(generate_latest(self.metrics.registry).decode(), name)


@pytest.fixture
def page(tmp_path: Path) -> Page:
    """The bench draws 9 W, the sign 20 W and 1 W standby; nobody knows what the shelf draws."""
    path = tmp_path / "leerie.toml"
    path.write_text(HOUSE)
    building = load(path, {}).building
    watts = {"bench": {"watts": 9.0}, "sign": {"watts": 20.0, "standby": 1.0}}
    fixtures = {name: replace(lamp, **watts.get(name, {})) for name, lamp in building.fixtures.items()}
    return Page(replace(building, fixtures=fixtures))


# ---- energy ----------------------------------------------------------------------------------------------------------


def test_a_year_of_two_hours_a_day(page: Page) -> None:
    """9 W for two hours a day and 0.5 W for the rest are 6.570 and 4.015 kWh a year, by hand; 0.5 W is what Commission
    Regulation (EU) 2019/2020, annex II, allows for standby (from memory).
    """
    page.told("bench", 0)
    for _ in range(365):
        page.told("bench", 1.0, 3000)
        page.pass_(2 * HOUR_MS)
        page.told("bench", 0, 3000)
        page.pass_(22 * HOUR_MS)
    assert page["fixture_energy_joules_total bench"] == pytest.approx((6.570 + 4.015) * KWH)
    assert page["fixture_lit_seconds_total bench"] == 365 * 2 * 3_600


def test_standby_of_a_year(page: Page) -> None:
    """0.5 W all year are 4.380 kWh, by hand."""
    page.told("bench", 0)
    page.pass_(365 * 24 * HOUR_MS)
    assert page["fixture_energy_joules_total bench"] == pytest.approx(4.380 * KWH)
    assert page["fixture_lit_seconds_total bench"] == 0


@pytest.mark.parametrize(
    ("lamp", "level", "watts"),
    [
        ("bench", 1.0, 9.0),
        ("bench", 0.5, 0.5 + 8.5 * 0.25),
        ("bench", 0.1, 0.5 + 8.5 * 0.01),
        ("bench", 0.0, 0.5),
        ("sign", 1.0, 20.0),
        ("sign", 0.0, 1.0),
    ],
)
def test_power_goes_with_the_light(page: Page, lamp: str, level: float, watts: float) -> None:
    """From standby straight up with the light, which is level² (IES square law); a switched lamp knows on and off."""
    page.told(lamp, level)
    page.pass_(10 * SECOND_MS)
    assert page[f"fixture_energy_joules_total {lamp}"] == pytest.approx(10 * watts)


def test_nothing_is_estimated_of_a_lamp_whose_watts_nobody_knows(page: Page) -> None:
    page.told("shelf", 1.0)
    page.pass_(MINUTE_MS)
    assert page.series("fixture_energy_joules_total shelf") == []
    assert page["fixture_lit_seconds_total shelf"] == 60


def test_a_scrape_between_two_commands_sees_what_has_come_together_by_then(page: Page) -> None:
    page.told("bench", 1.0, 3000)
    seen = []
    for _ in range(3):
        page.pass_(SECOND_MS)
        seen.append((page["fixture_energy_joules_total bench"], page["fixture_lit_seconds_total bench"]))
    assert seen == [(9, 1), (18, 2), (27, 3)]
    page.told("bench", 1.0, 4000)
    assert page["fixture_energy_joules_total bench"] == 27


def test_what_was_told_before_a_restart_burns_on(page: Page) -> None:
    """A room's first view tells it; what is told now goes before."""
    page.told("sign", 0)
    page.shown(told=(("bench", LampView(1.0, 2700)), ("sign", LampView(1.0, None)), ("shelf", None)))
    page.pass_(10 * SECOND_MS)
    page.shown(told=(("bench", LampView(0.5, 2700)), ("sign", LampView(1.0, None)), ("shelf", None)))
    page.pass_(10 * SECOND_MS)
    assert page["fixture_energy_joules_total bench"] == pytest.approx(180)
    assert page["fixture_energy_joules_total sign"] == pytest.approx(20)
    assert page["fixture_lit_seconds_total shelf"] == 0


# ---- lamps -----------------------------------------------------------------------------------------------------------


def test_level_and_white_are_what_was_last_told(page: Page) -> None:
    assert isnan(page["fixture_level_ratio bench"])
    page.told("bench", 0.8, 4000)
    page.told("bench", 0.4, 2700)
    assert page["fixture_level_ratio bench"] == 0.4
    assert page["fixture_colour_temperature_kelvin"] == 2700
    page.told("bench", 0.4, None)
    assert isnan(page["fixture_colour_temperature_kelvin"])


def test_hands_off_nobody_knows_level_and_white_and_time_and_energy_go_on(page: Page) -> None:
    page.told("bench", 1.0, 4000)
    page.shown(state="hold", hold=HANDS_OFF, fixtures=None)
    page.pass_(MINUTE_MS)
    assert isnan(page["fixture_level_ratio bench"])
    assert isnan(page["fixture_colour_temperature_kelvin"])
    assert page["fixture_lit_seconds_total bench"] == 60
    assert page["fixture_energy_joules_total bench"] == 540
    page.shown(state="hold", hold=replace(HANDS_OFF, level=1.0))
    assert page["fixture_level_ratio bench"] == 1
    page.shown()
    assert page["fixture_colour_temperature_kelvin"] == 4000


# ---- rooms, sensors, the sky -----------------------------------------------------------------------------------------


def test_time_in_each_state(page: Page) -> None:
    page.shown(state="vacant")
    page.pass_(50 * SECOND_MS)
    page.shown(state="occupied", occupancy="occupied")
    page.pass_(20 * SECOND_MS)
    page.shown(state="occupied", occupancy="occupied", bias=0.2)
    page.pass_(10 * SECOND_MS)
    page.shown(state="vacant")
    page.pass_(5 * SECOND_MS)
    assert page["room_state_seconds_total vacant"] == 55
    assert page["room_state_seconds_total occupied"] == 30
    assert page["room_state_seconds_total hold"] == 0
    assert page["room_state vacant"] == 1
    assert page["room_state occupied"] == 0


def test_a_sensor_that_is_out(page: Page) -> None:
    silent = Fault("sensor_out", "radar", WALL, "radar silent for 2h")
    page.shown(faults=(silent, Fault("battery_low", "door", WALL, "the battery of door is low")))
    assert (page["sensor_out radar"], page["sensor_out door"]) == (1, 0)
    assert page["room_faults"] == 2
    assert (page["fault_active sensor_out"], page["fault_active battery_low"], page["fault_active room_blind"]) == (
        1,
        1,
        0,
    )
    page.shown()
    assert page["sensor_out radar"] == 0
    assert page["fault_active sensor_out"] == 0


def test_a_command_that_the_broker_did_not_take(page: Page) -> None:
    assert page["commands_undelivered_total bench"] == 0
    page.metrics.count([Undelivered("bench", "bench")])
    assert page["commands_undelivered_total bench"] == 1


def test_which_sensors_and_lamps_are_a_rooms(page: Page) -> None:
    assert [page[f"room_sensor_info {sensor}"] for sensor in ("radar", "door")] == [1, 1]
    assert [page[f"room_fixture_info {lamp}"] for lamp in ("bench", "sign", "shelf")] == [1, 1, 1]


def test_when_a_sensor_last_said_anything(page: Page) -> None:
    assert isnan(page["sensor_last_seen_timestamp_seconds radar"])
    page.metrics.count([Heard("presence", "radar", "absent", retained=False)])
    page.pass_(MINUTE_MS)
    page.metrics.count(
        [Heard("online", "radar", "gone", retained=False), Heard("hold", "workshop", "end", retained=False)]
    )
    assert page["sensor_last_seen_timestamp_seconds radar"] == WALL / 1e6
    assert isnan(page["sensor_last_seen_timestamp_seconds door"])
    page.metrics.count([Heard("battery", "radar", "good", retained=False)])
    assert page["sensor_last_seen_timestamp_seconds radar"] == WALL / 1e6 + 60


def test_the_clock_that_leerie_goes_by(page: Page) -> None:
    assert page["clock_timestamp_seconds"] == WALL / 1e6
    page.pass_(MINUTE_MS)
    assert page["clock_timestamp_seconds"] == WALL / 1e6 + 60
    page.now = Now(page.now.steady, WALL - HOUR_MS * 1_000)  # somebody set it back
    assert page["clock_timestamp_seconds"] == WALL / 1e6 - 3_600


def test_the_parts_of_leerie_itself(page: Page) -> None:
    assert all(isnan(value) for value in page.series("working"))
    page.metrics.watch("journal", lambda: False)
    page.metrics.watch("deciding", lambda: True)
    assert (page["working journal"], page["working deciding"]) == (0, 1)
    assert isnan(page["working records"])


def test_after_a_reload_nothing_is_left_of_a_room_that_is_gone(page: Page) -> None:
    before = page.metrics.seen(None).building
    page.shown(state="occupied", sensors_present=("radar",))
    page.told("bench", 1.0)
    flat = replace(before.rooms["workshop"], name="flat", fixtures=())
    page.metrics.follow(replace(before, rooms={"flat": flat}))
    assert page["sensor_present radar"] == 0
    assert isnan(page["fixture_level_ratio bench"])
    joules = page["fixture_energy_joules_total bench"]
    page.pass_(10 * MINUTE_MS)
    page.metrics.follow(before)
    assert page["fixture_energy_joules_total bench"] == joules
    assert page["room_state workshop occupied"] == page["room_state_seconds_total workshop occupied"] == 0


def test_before_the_first_decision_a_room_is_in_no_state(page: Page) -> None:
    assert page.series("room_state") == [0] * 5
    assert page.series("room_state_seconds_total") == [0] * 5
    assert (page["room_faults"], page["hold_active"]) == (0, 0)


def test_the_sky(page: Page) -> None:
    names = ("outdoor_illuminance_lux", "sun_elevation_degrees", "cloud_cover_ratio")
    parts = ("day_part day", "day_part night")
    assert all(isnan(page[name]) for name in names)
    assert [page[part] for part in parts] == [0, 0]
    page.metrics.show([], SKY)
    assert [page[name] for name in (*names, *parts)] == [9_000, 21.5, 0.75, 1, 0]
    page.metrics.show([], replace(SKY, cloud=None, part=None))
    assert isnan(page["cloud_cover_ratio"])
    assert page["day_part day"] == 0


# ---- the daemon ------------------------------------------------------------------------------------------------------


@pytest.mark.broker
def test_the_daemon_shows_its_lamps_its_sky_and_its_own_clock(broker: Broker, tmp_path: Path) -> None:
    """In Glasgow on 1 June 2026 at 12:00 UTC the sun stands at 56.1° (pvlib 0.16.1, spa_python)."""
    noon = round(datetime(2026, 6, 1, 12, tzinfo=UTC).timestamp())
    config = workshop(tmp_path, broker.port)
    port = free_port()
    config.write_text(config.read_text().replace('metrics = ""', f'metrics = "127.0.0.1:{port}"'))
    with Person(broker.port, "leerie/#") as person, House(config, start=noon * 1_000_000):
        person.hears("leerie/room/workshop/state")
        person.say("workshop/bench/radar", "true")
        person.hears("leerie/room/workshop/state", lambda heard: bool(heard.value["state"] == "occupied"))
        with urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
            text = answer.read().decode()
    assert series(text, "fixture_level_ratio bench") == [0.8]
    assert series(text, "fixture_lit_seconds_total bench") != [0]
    assert series(text, "day_part always") == [1]
    assert series(text, "sun_elevation_degrees") == [pytest.approx(56.1, abs=2)]
    assert noon < series(text, "sensor_last_seen_timestamp_seconds bench_radar")[0] < noon + 24 * 3_600
