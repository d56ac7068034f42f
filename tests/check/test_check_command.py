"""What `leerie check` says and how it ends."""

import json
from typing import Any

import pytest
from hut import HUT, Check

from leerie.eye import NO_ADVICE

PAGE = """\
The luthier's hut, Monday 2026-03-02, Europe/London

Day parts
  night            since 2026-03-01 23:00
  day              07:00
  evening          18:00
  night            23:00

Next holiday: Monday 2026-04-06

Sensors
  radar            presence, topic hut/radar, in hut
  pir              motion, topic hut/pir, in hut

Lamps
  bench            tunable, square curve, trim 0.00–1.00, 2700–6500 K
  sign             switched

Room hut
  sensors          pir, radar (only keeps light)
  lamps            bench, sign
  week
    Mon–Fri          night 00:00–07:00, day 07:00–18:00, evening 18:00–23:00,
                     night 23:00–24:00
    Sat–Sun, 2026-04-06 (holiday)
                     night 00:00–09:00, day 09:00–18:00, evening 18:00–23:00,
                     night 23:00–24:00
  scenes
    day              bench follows daylight from level 0.50 (25 % of its light)
                     to level 1.00 (100 % of its light), 3000–5000 K with the
                     sun
                     sign on
    evening          bench level 0.50 (25 % of its light)
    night            dark
    vacant           bench level 0.10 (1 % of its light)
    asked            bench makes up what daylight leaves wanting of 20 lx,
                     2700 K
  melanopic EDI at the eye
    day              about 12 lx (9.3–14); by day at least 250 lx
    evening          about 2.3 lx (1.8–2.8); by day at least 250 lx; before bed
                     at most 10 lx

Melanopic EDI beside what Brown et al. 2022 recommend at the eye: at least 250
lx by day, at most 10 lx in the three hours before bed, at most 1 lx asleep. No
daylight counts in it; in brackets the spread of lamps, ±20 %. An estimate from
published models of healthy adults, never medical advice.

No warnings.
"""
"""The estimates by hand: 1000 lm · 0.5 · 0.8 / 10 m² = 40 lx on the task and half of it at the eye; in the evening
¼ · 20 lx · 0.4616 (melanopic DER of 2700 K) = 2.3 lx; by day 20 lx · 0.5263 (3000 K) and a tenth of it from the sign.
"""
UNUSED = HUT + '[sensors.lost]\nkind = "motion"\ntopic = "lost"\n'
WRONG = HUT.replace("evening = { bench = 0.5 }", "evenin = { bench = 2 }\n").replace('"radar"]', '"rader"]')


@pytest.fixture
def day() -> tuple[str, str]:
    return "--date", "2026-03-02"


def test_the_page(check: Check, day: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert check(HUT, *day) == 0
    out, err = capsys.readouterr()
    assert out == PAGE
    assert err == "config: leerie.toml\n"
    assert " ".join(NO_ADVICE.split()) in " ".join(out.split())


def test_no_line_is_wider_than_a_terminal_of_old(check: Check, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(HUT.replace("bench", "the_bench_of_the_old_master")) == 0
    assert [line for line in capsys.readouterr().out.splitlines() if len(line) > 80] == []


def test_every_error_at_once_and_nothing_else(check: Check, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(WRONG) == 1
    out, err = capsys.readouterr()
    lines = err.splitlines()
    assert out == ""
    assert lines[0] == "config: leerie.toml"
    assert len(lines) >= 3
    assert all(line.startswith("leerie.toml:") for line in lines[1:])
    assert any("rooms.hut.keep" in line and line.endswith("did you mean radar?") for line in lines)


def test_warnings_count_only_where_it_is_strict(
    check: Check, day: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    warning = "leerie.toml:38 sensors.lost: is in no room; what it says changes nothing"
    assert check(UNUSED, *day) == 0
    assert capsys.readouterr().out.endswith(f"\n1 warning:\n{warning}\n")
    assert check(UNUSED, *day, "--strict") == 1
    out, err = capsys.readouterr()
    assert out.endswith(f"\n1 warning:\n{warning}\n")
    assert err.endswith("1 warning, and --strict makes them count\n")
    assert check(HUT, *day, "--strict") == 0


@pytest.mark.parametrize("text", ["2026-3-2", "tomorrow", "1812-03-02", ""])
def test_what_is_no_date_is_wrong_usage(check: Check, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        check(HUT, "--date", text)
    assert left.value.code == 2
    assert "--date" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("lumens", "told"), [("100000", "about 231 lx (185–277)"), ("100", "about 0.23 lx (0.18–0.28)")]
)
def test_estimates_are_told_without_false_exactness(
    check: Check, capsys: pytest.CaptureFixture[str], lumens: str, told: str
) -> None:
    assert check(HUT.replace("lumens = 1000", f"lumens = {lumens}")) == 0
    assert f"\n    evening          {told}; by day" in capsys.readouterr().out


def test_without_lumens_it_says_what_is_missing(check: Check, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(HUT.replace("lumens = 100\n", "")) == 0
    out = capsys.readouterr().out
    assert "\n  no melanopic estimate of some parts, missing are\n                   fixtures.sign.lumens\n" in out


def test_a_site_alone_tells_little(check: Check, day: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert check('[site]\nlatitude = 0\nlongitude = 0\ntimezone = "UTC"\n', *day) == 0
    out = capsys.readouterr().out
    assert out == "leerie, Monday 2026-03-02, UTC\n\nNext holiday: no holidays configured\n\nNo warnings.\n"


def test_without_bed_nothing_is_recommended(check: Check, capsys: pytest.CaptureFixture[str]) -> None:
    restless = HUT.replace('bed = "night"\n', "")
    assert check(restless) == 0
    assert "\n    evening          about 2.3 lx (1.8–2.8)\n" in capsys.readouterr().out
    assert check(restless.replace("lumens = 100\n", "")) == 0
    assert "missing are" not in capsys.readouterr().out


def test_who_stops_reading_is_told_all_the_same_whether_warnings_count(
    check: Check, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`leerie check --strict | head -1`"""

    def leave(*_: object, **__: object) -> None:
        raise BrokenPipeError

    monkeypatch.setattr("leerie.cli.check._print_warnings", leave)
    assert check(HUT, "--strict") == 0
    assert check(UNUSED, "--strict") == 1


# ---- for programs ----------------------------------------------------------------------------------------------------

KEYS = ["errors", "warnings", "date", "day_parts", "rooms", "fixtures", "sensors"]


def told(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert list(found) == KEYS
    return found


def test_json(check: Check, day: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert check(UNUSED, *day, "--json") == 0
    found = told(capsys)
    assert found["errors"] == []
    assert found["warnings"] == [
        {
            "file": "leerie.toml",
            "line": 38,
            "key": "sensors.lost",
            "problem": "is in no room",
            "allowed": "what it says changes nothing",
        }
    ]
    assert found["date"] == "2026-03-02"
    assert found["day_parts"] == [
        {"name": "night", "starts": "2026-03-01T23:00:00+00:00"},
        {"name": "day", "starts": "2026-03-02T07:00:00+00:00"},
        {"name": "evening", "starts": "2026-03-02T18:00:00+00:00"},
        {"name": "night", "starts": "2026-03-02T23:00:00+00:00"},
    ]
    assert [sensor["name"] for sensor in found["sensors"]] == ["radar", "pir", "lost"]
    assert [lamp["name"] for lamp in found["fixtures"]] == ["bench", "sign"]
    [room] = found["rooms"]
    assert room["name"] == "hut"
    workdays, others = room["week"]
    assert workdays["dates"] == [f"2026-03-0{day}" for day in range(2, 7)]
    assert others["dates"] == ["2026-03-07", "2026-03-08", "2026-04-06"]
    assert others["day_parts"][:2] == [
        {"name": "night", "from": "00:00", "to": "09:00"},
        {"name": "day", "from": "09:00", "to": "18:00"},
    ]


def test_json_of_a_config_that_is_wrong(check: Check, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(WRONG, "--json") == 1
    found = told(capsys)
    assert found["date"] is None
    assert found["warnings"] == found["rooms"] == []
    assert len(found["errors"]) >= 2
    assert all(list(error) == ["file", "line", "key", "problem", "allowed"] for error in found["errors"])
    [keep] = [error for error in found["errors"] if error["key"].startswith("rooms.hut.keep")]
    assert keep["line"] == 29
    assert keep["allowed"].endswith("did you mean radar?")


def test_json_names_the_variable_that_is_wrong(
    check: Check, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("LEERIE_ROOMS__HUT__GRACE", "10")
    assert check(HUT, "--json") == 1
    [error] = told(capsys)["errors"]
    assert (error["file"], error["line"]) == ("LEERIE_ROOMS__HUT__GRACE", None)


def test_a_part_that_starts_at_midnight_is_told_once(check: Check, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(HUT.replace('"23:00"', '"00:00"'), "--json", "--date", "2026-03-02") == 0
    parts = told(capsys)["day_parts"]
    assert [part["name"] for part in parts] == ["night", "day", "evening"]
    assert parts[0]["starts"] == "2026-03-02T00:00:00+00:00"
