"""Every series stands from the start, named, typed and labelled as documented, and nothing from outside adds one."""

import json
from pathlib import Path

import pytest
from prometheus_client import generate_latest
from prometheus_client.openmetrics import exposition as openmetrics
from prometheus_client.openmetrics import parser as openmetrics_parser
from prometheus_client.parser import text_string_to_metric_families
from scraped_house import HOUSE, Scraped

from leerie.config import load
from leerie.runtime.metrics import Metrics


@pytest.fixture
def house(tmp_path: Path) -> Scraped:
    path = tmp_path / "leerie.toml"
    path.write_text(HOUSE)
    return Scraped(path)


# ---- label sets ------------------------------------------------------------------------------------------------------


def a_day(house: Scraped) -> None:
    """Something of everything."""
    for payload in ("on", "off", "on"):
        house.say("radar", payload)
        house.pass_("30s")
    house.say("pir", "on")
    house.say("door", "open")
    house.say("button", "short")
    house.say("weather/cloud", "40")
    for wish in ("hold", "ask", "bias"):
        for payload in ("start", "dark", "0.2", "end", "light", "0", "toggle", "toggle"):
            house.say(f"leerie/room/workshop/{wish}", payload)
    house.say("leerie/room/stair/hold", '{"hold": true, "level": 0.4, "for": "day_part"}')
    house.say("radar", "off")
    house.pass_("1d")


def test_what_happens_brings_no_series_that_was_not_there_from_the_start(house: Scraped) -> None:
    """A series that comes with its first event hides that event from rate()."""
    a_day(house)
    assert house.series().keys() == house.before
    counted = {name for (name, _), value in house.series().items() if name.endswith("_total") and value > 0}
    assert counted >= {
        f"leerie_{name}_total"
        for name in (
            "messages_received", "messages_refused", "commands_sent", "room_transitions", "room_state_seconds",
            "fixture_lit_seconds",
        )
    }  # fmt: skip


NASTY = [
    *(b"", b"\xff\xfe", b'radar"} 1\nleerie_made_up 1', b"null", b"NaN", b"1e999"),
    *(b"[" * 5_000, b"9" * 5_000, b"x" * 100_000),
    json.dumps({"hold": True, "level": 7, '"}\n': 1}).encode(),
    json.dumps({"bias": "\u2028"}).encode(),
]


def test_nothing_that_a_topic_or_a_payload_says_becomes_a_label(house: Scraped) -> None:
    topics = [*house.controller.filters(), 'nobody/reads"} 1\n', "leerie/room/made_up/hold", "leerie/room/stair/state"]
    for topic in topics:
        for payload in NASTY:
            for retained in (False, True):
                house.say(topic, payload, retained=retained)
    assert house.series().keys() == house.before
    assert house.of("messages_refused_total", source="unknown", reason="unknown_topic") == 3 * len(NASTY) * 2
    assert house.of("messages_refused_total", source="workshop/hold", reason="retained_event") > 0


def test_a_room_moves_from_state_to_state_as_the_world_names_them(house: Scraped) -> None:
    """Grace after an arrival and grace after use are both grace; a warning in it is no move."""
    house.pass_("1h")
    at_first = house.series()
    house.say("radar", "on")
    house.say("radar", "off")
    house.say("radar", "on")
    house.pass_("10s")
    house.say("radar", "off")
    house.pass_("1h")
    moves = {
        (dict(labels)["before"], dict(labels)["after"]): value - at_first[name, labels]
        for (name, labels), value in house.series().items()
        if name == "leerie_room_transitions_total" and ("room", "workshop") in labels
    }
    assert {move: count for move, count in moves.items() if count} == {
        ("vacant", "arriving"): 1,
        ("arriving", "grace"): 1,
        ("grace", "arriving"): 1,
        ("arriving", "occupied"): 1,
        ("occupied", "grace"): 1,
        ("grace", "vacant"): 1,
    }
    assert sorted(moves) == [
        ("arriving", "grace"), ("arriving", "occupied"), ("grace", "arriving"), ("grace", "occupied"),
        ("grace", "vacant"), ("occupied", "grace"), ("vacant", "arriving"), ("vacant", "grace"), ("vacant", "occupied"),
    ]  # fmt: skip


def test_only_a_lamp_on_an_escape_route_can_be_told_for_its_sake(house: Scraped) -> None:
    told = [dict(labels) for name, labels in house.before if name == "leerie_commands_sent_total"]
    causes = {lamp: {labels["cause"] for labels in told if labels["fixture"] == lamp} for lamp in ("bench", "lamp")}
    assert causes["lamp"] - causes["bench"] == {"egress"}


# ---- names, types and labels -----------------------------------------------------------------------------------------

METRICS = {
    "broker_connected": ("gauge", ""),
    "broker_reconnects": ("counter", ""),
    "build_info": ("gauge", "version"),
    "clock_known": ("gauge", ""),
    "clock_timestamp_seconds": ("gauge", ""),
    "cloud_cover_ratio": ("gauge", ""),
    "commands_coalesced": ("counter", "fixture"),
    "commands_sent": ("counter", "cause fixture"),
    "commands_undelivered": ("counter", "fixture"),
    "config_reload_ok": ("gauge", ""),
    "day_part": ("gauge", "day_part"),
    "decision_seconds": ("histogram", "le"),
    "fault_active": ("gauge", "code room"),
    "fixture_colour_temperature_kelvin": ("gauge", "fixture"),
    "fixture_energy_joules": ("counter", "fixture"),
    "fixture_level_ratio": ("gauge", "fixture"),
    "fixture_lit_seconds": ("counter", "fixture"),
    "hold_active": ("gauge", "room"),
    "messages_received": ("counter", "kind"),
    "messages_refused": ("counter", "reason source"),
    "outdoor_illuminance_lux": ("gauge", ""),
    "process_cpu_seconds": ("counter", ""),
    "process_max_fds": ("gauge", ""),
    "process_open_fds": ("gauge", ""),
    "process_resident_memory_bytes": ("gauge", ""),
    "process_start_time_seconds": ("gauge", ""),
    "process_virtual_memory_bytes": ("gauge", ""),
    "room_false_offs": ("counter", "after room"),
    "room_faults": ("gauge", "room"),
    "room_fixture_info": ("gauge", "fixture room"),
    "room_sensor_info": ("gauge", "room sensor"),
    "room_state": ("gauge", "room state"),
    "room_state_seconds": ("counter", "room state"),
    "room_transitions": ("counter", "after before room"),
    "sensor_last_seen_timestamp_seconds": ("gauge", "sensor"),
    "sensor_out": ("gauge", "sensor"),
    "sensor_present": ("gauge", "sensor"),
    "sun_elevation_degrees": ("gauge", ""),
    "working": ("gauge", "part"),
}
"""Name without `leerie_` and `_total` → type and labels."""


def test_every_metric_has_its_type_and_its_labels_from_the_start(tmp_path: Path) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text(HOUSE.replace('topic = "lamp"', 'topic = "lamp"\nwatts = 9.0'))
    text = generate_latest(Metrics(load(path, {}).building).registry).decode()
    found = {}
    for family in text_string_to_metric_families(text):
        labels = {label for sample in family.samples for label in sample.labels}
        assert family.samples, family.name
        assert family.documentation.endswith("."), family.name
        found[family.name.removeprefix("leerie_")] = (family.type, " ".join(sorted(labels)))
    assert found == METRICS


def test_it_can_be_scraped_as_openmetrics_too(house: Scraped) -> None:
    a_day(house)
    text = openmetrics.generate_latest(house.metrics.registry).decode()
    families = list(openmetrics_parser.text_string_to_metric_families(text))
    assert {sample.name for family in families for sample in family.samples} == {name for name, _ in house.before}
