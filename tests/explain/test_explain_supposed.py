"""What would be, worked out without a broker, against numbers worked by hand."""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from leerie.cli.main import main

BUILDING = """
[site]
name = "Saltmarket violin workshop"
latitude = 55.8569
longitude = -4.2448
timezone = "Europe/London"
[broker]
port = 1
[daylight]
dark = 100
bright = 10000
[day_parts]
day = { starts = "08:00", blend = "0s" }
evening = { starts = "18:00", blend = "60m" }
night = { starts = "23:00", blend = "0s" }
[fixtures.sign]
kind = "switched"
topic = "lamps/sign"
[fixtures.window]
kind = "dimmable"
topic = "lamps/window"
payload = "$byte"
[fixtures.bench]
kind = "dimmable"
topic = "lamps/bench"
payload = "$byte"
lumens = 10000
[fixtures.glow]
kind = "tunable"
topic = "lamps/glow"
payload = "$byte $kelvin"
kelvin = [2200, 6500]
[rooms.shop]
fixtures = ["window", "bench", "glow", "sign"]
area = 10
utilisation = 0.5
maintenance = 0.8
daylight_factor = 1
[rooms.shop.scenes]
day = { window = { follow = [0.2, 1.0] }, bench = { lux = 300 }, glow = { level = 0.8, kelvin = 4000 }, sign = 1 }
evening = { bench = { lux = 300 }, glow = { level = 0.4, kelvin = 2500 } }
night = {}
vacant = { glow = 0.2 }
"""
NOON, NIGHTFALL, MIDNIGHT = "2026-12-21 12:00", "2026-12-21 18:30", "2026-12-21 23:30"

Explain = Callable[..., int]


@pytest.fixture
def explain(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Explain:
    (tmp_path / "leerie.toml").write_text(BUILDING, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LEERIE_CONFIG", raising=False)
    return lambda *words: main(["explain", *words])


@pytest.fixture
def told(explain: Explain, capsys: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    """The answer as JSON."""

    def run(*options: str) -> Any:
        assert explain("shop", "--json", *options) == 0
        return json.loads(capsys.readouterr().out)

    return run


def payloads(answer: Any) -> dict[str, str]:
    return {command["topic"]: command["payload"] for command in answer["commands"]}


def test_a_lamp_that_follows_the_light_outdoors(told: Callable[..., Any]) -> None:
    """1000 lx is half way from 100 to 10 000 lx by the logarithm: level 0.2 + 0.5 · 0.8 = 0.6, by the IES square law
    0.36 of the light, 0.36 · 255 = 91.8.
    """
    answer = told("--at", NOON, "--outdoor-lux", "1000")
    assert answer["room"]["fixtures"]["window"] == {"on": True, "level": 0.6, "kelvin": None}
    assert payloads(answer)["lamps/window"] == "92"
    assert (answer["sky"]["outdoor_lux"], answer["sky"]["outdoor_from"]) == (1000, "sensor")


def test_lamps_that_maintain_an_illuminance_by_day(told: Callable[..., Any]) -> None:
    """Lumen method: 10 000 lm · 0.5 · 0.8 / 10 m² = 400 lx at full; 1 % of the diffuse light outdoors is there."""
    answer = told("--at", NOON, "--cloud", "1")
    daylight = 0.01 * answer["sky"]["diffuse_lux"]
    assert daylight > 10
    assert answer["room"]["fixtures"]["bench"]["level"] == pytest.approx(math.sqrt((300 - daylight) / 400), abs=0.002)
    assert answer["sky"]["cloud"] == 1


def test_half_way_from_day_to_evening_by_night(told: Callable[..., Any]) -> None:
    """Half an hour of 60 min. glow: (0.8 + 0.4) / 2 = 0.6, 92 of 255; 250 and 400 MK⁻¹ give 325, which is 3077 K.
    window: (0.2 + 0) / 2 = 0.1, 0.01 · 255 = 2.55. bench: no daylight, 300 of 400 lx: 0.75 · 255 = 191.25.
    """
    answer = told("--at", NIGHTFALL)
    assert payloads(answer) == {
        "lamps/window": "3",
        "lamps/bench": "191",
        "lamps/glow": "92 3077",
        "lamps/sign": "false",
    }
    assert answer["room"]["day_part"] == answer["sky"]["day_part"] == "evening"


def test_a_vacant_room(told: Callable[..., Any]) -> None:
    """0.2² · 255 = 10.2; white is the site's."""
    answer = told("--at", NOON, "--state", "vacant")
    assert payloads(answer) == {"lamps/window": "0", "lamps/bench": "0", "lamps/glow": "10 3000", "lamps/sign": "false"}
    assert answer["room"]["state"] == "vacant"


def test_a_dark_part(told: Callable[..., Any]) -> None:
    answer = told("--at", MIDNIGHT)
    assert [lamp["on"] for lamp in answer["room"]["fixtures"].values()] == [False] * 4
    assert answer["sky"]["sun_elevation"] < -18


@pytest.mark.parametrize("at", ["2026-07-01 12:00", "2026-07-01T11:00:00Z", "2026-07-01T13:00:00+02:00"])
def test_moments_are_the_sites_unless_they_say_otherwise(told: Callable[..., Any], at: str) -> None:
    assert told("--at", at)["sky"]["at"] == "2026-07-01T12:00:00+01:00"


def test_a_time_alone_is_todays(told: Callable[..., Any]) -> None:
    assert told("--at", "17:00")["sky"]["at"][10:19] == "T17:00:00"


def test_sentences_with_the_chain_down_to_the_payload(explain: Explain, capsys: pytest.CaptureFixture[str]) -> None:
    assert explain("shop", "--at", NOON, "--outdoor-lux", "1000") == 0
    out = capsys.readouterr().out
    assert out.startswith("shop, if it were occupied on Monday 2026-12-21 at 12:00:\n")
    assert max(map(len, out.splitlines())) <= 80
    text = " ".join(out.split())
    assert "50 % of the way from 100 to 10000 lx (log) → level 0.60 (36 % of its light)" in text
    assert "36 % of its light is 0.3600 of the device's range" in text
    assert "lamps/window ← 92" in text


def test_a_switch_is_told_on_or_off_and_nothing_of_its_range(
    explain: Explain, capsys: pytest.CaptureFixture[str]
) -> None:
    assert explain("shop", "--at", MIDNIGHT) == explain("shop", "--at", "2026-12-21 09:00") == 0
    out = capsys.readouterr().out
    assert "  sign: not lit by the scene → off\n    off: lamps/sign ← false\n" in out
    assert "  sign: 1.00 in the scene → on\n    on: lamps/sign ← true\n" in out


def test_a_cloud_beside_a_reading_is_not_used_and_that_is_said(
    explain: Explain, capsys: pytest.CaptureFixture[str]
) -> None:
    alone = ("shop", "--at", NOON, "--outdoor-lux", "5000")
    assert explain(*alone) == 0
    usual = capsys.readouterr()
    assert explain(*alone, "--cloud", "0.5") == 0
    said = capsys.readouterr()
    assert said.out == usual.out
    assert said.err == f"{usual.err}--cloud: is not used; --outdoor-lux says how bright it is outdoors\n"


def test_a_room_is_in_grace(explain: Explain, capsys: pytest.CaptureFixture[str]) -> None:
    assert explain("shop", "--at", NOON, "--state", "Grace") == 0
    assert capsys.readouterr().out.startswith("shop, if it were in grace on Monday 2026-12-21 at 12:00:\n")


def test_lines_are_as_wide_as_the_terminal(
    explain: Explain, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert explain("shop", "--at", NOON) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 40


def test_all_options_that_are_wrong_are_told_at_once(explain: Explain, capsys: pytest.CaptureFixture[str]) -> None:
    assert explain("shpo", "--cloud", "x", "--state", "y", "--at", "z", "--outdoor-lux", "w") == 2
    _, *lines = capsys.readouterr().err.splitlines()
    assert [line.split(" ")[0] for line in lines] == ["unknown", "--state:", "--cloud:", "--outdoor-lux:", "--at:"]


def test_a_lamp_that_is_off_has_no_share_of_light_to_tell(explain: Explain, capsys: pytest.CaptureFixture[str]) -> None:
    assert explain("shop", "--at", MIDNIGHT) == 0
    assert "  window: not lit by the scene → off\n    off: lamps/window ← 0\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("shpo", "--at", NOON), 'unknown room "shpo"; known: shop; did you mean shop?'),
        (("shop", "--at", "noonish"), '--at: "noonish" is no moment; allowed: times such as 17:00'),
        (("shop", "--at", "2026-12-21"), '--at: "2026-12-21" is no moment'),
        (("shop", "--at", "1815-01-01 12:00"), "years from 1971 to 2099"),
        (("shop", "--at", "2026-02-30 12:00"), "is no moment"),
        (("shop", "--state", "vacent"), "allowed: vacant, arriving, occupied, grace; did you mean vacant?"),
        (("shop", "--cloud", "1.5"), '--cloud: "1.5" is not allowed; allowed: a number from 0 to 1'),
        (("shop", "--cloud", "nan"), "allowed: a number from 0 to 1"),
        (("shop", "--outdoor-lux", "bright"), "allowed: a number from 0 to 200000"),
        (("shop", "--outdoor-lux", "-1"), "allowed: a number from 0 to 200000"),
    ],
)
def test_wrong_usage_is_one_line(
    explain: Explain, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], line: str
) -> None:
    assert explain(*words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    first, second = said.err.splitlines()
    assert first.startswith("config: ")
    assert line in second
