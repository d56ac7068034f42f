"""Every bad config in bad/ makes one mistake, and ends with the lines that must be said about it."""

import os
from pathlib import Path

import pytest
from small_configs import SITE

from leerie.config import ConfigError, load

ANOTHER = "a TOML file; --config or LEERIE_CONFIG names another"
BAD = sorted((Path(__file__).parent / "bad").glob("*.toml"))


def said(path: Path) -> list[str]:
    """What is said of the config, with the file called by its bare name."""
    with pytest.raises(ConfigError) as refusal:
        load(path, {})
    return [str(problem).replace(str(path), path.name) for problem in refusal.value.problems]


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_mistake_is_told_in_one_line_with_its_place(path: Path) -> None:
    expected = [line.removeprefix("# ") for line in path.read_text().splitlines() if line.startswith("# ")]
    assert expected
    assert said(path) == expected


def test_there_are_enough_of_them() -> None:
    assert len(BAD) >= 100


def test_a_problem_is_a_record_for_programs_too() -> None:
    with pytest.raises(ConfigError) as refusal:
        load(Path(__file__).parent / "bad" / "grace_as_number_second_table.toml", {})
    (problem,) = refusal.value.problems
    assert problem.file.endswith("grace_as_number_second_table.toml")
    assert (problem.line, problem.key, problem.problem) == (42, "rooms.shop.grace", "5 is no duration")
    assert problem.allowed == "a number with a unit such as 90s, 10m, 1h30m, 2d, 0s"
    assert problem.nearest is None


def test_all_mistakes_are_told_at_once_and_in_the_order_of_the_file(tmp_path: Path) -> None:
    """Mistakes in single keys do not hide those that only a look at the whole finds, nor the other way round."""
    path = tmp_path / "leerie.toml"
    path.write_text(
        """
[site]
latitude = 100
timezone = "Europe/London"
[day_parts.day]
starts = "8"
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = 5
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$blue"
[fixtures.spot]
kind = "switched"
topic = "spot"
[rooms.workshop]
sensors = ["radar", "rodar"]
fixtures = ["bench"]
grace = 10
[rooms.workshop.scenes]
day = { bench = 2, spot = 1 }
dya = {}
[rooms.workshop.during.day]
relight = 1
[rooms.workshop.during.dusk]
grace = "1m"
"""
    )
    assert [line.split(":", 2)[1:] for line in (text.split(";")[0] for text in said(path))] == [
        ["2 site.longitude", " is missing"],
        ["3 site.latitude", " 100 is not allowed"],
        ["6 day_parts.day.starts", ' "8" is no time of day'],
        ["10 sensors.radar.stuck", " 5 is no duration"],
        ["14 fixtures.bench.payload", " $blue is nothing that a dimmable lamp can be told"],
        ["15 fixtures.spot", " is in no room"],
        ["19 rooms.workshop.sensors[1]", " there is no sensor rodar"],
        ["21 rooms.workshop.grace", " 10 is no duration"],
        ["23 rooms.workshop.scenes.day.bench", " 2 is not allowed"],
        ["23 rooms.workshop.scenes.day.spot", " workshop has no lamp spot"],
        ["24 rooms.workshop.scenes.dya", " there is no day part dya"],
        ["26 rooms.workshop.during.day.relight", " 1 is no duration"],
        ["27 rooms.workshop.during.dusk", " there is no day part dusk"],
    ]


def test_a_mistake_in_the_site_hides_no_other_there(tmp_path: Path) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text('[site]\nlatitude = 1\nlongitude = 200\ntimezone = "UTC"\nholidays = "XX"\nbed = "night"\n')
    assert [line.split(";")[0] for line in said(path)] == [
        "leerie.toml:3 site.longitude: 200 is not allowed",
        'leerie.toml:5 site.holidays: "XX" is no country',
        "leerie.toml:6 site.bed: there is no day part night",
    ]


def test_what_is_broken_is_not_told_a_second_time_as_missing(tmp_path: Path) -> None:
    """A sensor with a mistake is still there for the room that names it."""
    path = tmp_path / "leerie.toml"
    path.write_text(
        """
[site]
latitude = 1
longitude = 1
timezone = "UTC"
[day_parts.day]
starts = "late"
[sensors.radar]
kind = "presence"
[fixtures.bench]
kind = "switched"
[fixtures.spot]
kind = "switched"
topic = "spot"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench", "spot"]
keep = 5
[rooms.workshop.scenes]
day = { bench = 1 }
"""
    )
    assert [line.split(" ")[1] for line in said(path)] == [
        "day_parts.day.starts:",
        "sensors.radar.topic:",
        "fixtures.bench.topic:",
        "rooms.workshop.keep:",
    ]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"[site]\nname = 'caf\xe9'\n", ":2: byte 0xe9 is not UTF-8; a TOML file in UTF-8"),
        ("[site]".encode("utf-16"), ": is UTF-16 text; a TOML file in UTF-8"),
        (b"[site]\nname = '\0'\n", ": holds NUL bytes, as no text does; a TOML file in UTF-8"),
        (b" " * 10_000_001, ": cannot be read: it is longer than 10 megabytes; " + ANOTHER),
        (b"a = " + b"[" * 5000, ": nested too deep, it or a variable; lists and tables a few levels deep"),
        (b"a = " + b"9" * 5000, ": holds a number of too many digits; numbers of a few digits"),
        (b"a = 'b", ':1: is no TOML: expected "\'"; TOML 1.0 (toml.io)'),
        (
            b"",
            ":1 site: is missing; "
            "a table with name, latitude, longitude, timezone, holidays, days_off, workweek, kelvin, bed",
        ),
    ],
)
def test_a_file_that_is_no_config_at_all_gets_one_line(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "leerie.toml"
    path.write_bytes(content)
    assert said(path) == [f"leerie.toml{words}"]


def test_no_file_gets_one_line(tmp_path: Path) -> None:
    assert said(tmp_path / "leerie.toml") == [f"leerie.toml: cannot be read: no such file or directory; {ANOTHER}"]
    assert said(tmp_path) == [f"{tmp_path.name}: cannot be read: is a directory; {ANOTHER}"]
    with pytest.raises(ConfigError, match="its name is no file name"):
        load(Path("leerie\0.toml"), {})


def test_what_is_no_file_is_not_waited_for(tmp_path: Path) -> None:
    """Neither a device without an end nor a pipe into which nobody writes; as the config, and as the password."""
    os.mkfifo(tmp_path / "pipe")
    no_file = "cannot be read: it is a device, a pipe or a socket"
    for path in (tmp_path / "pipe", Path("/dev/zero")):
        assert said(path) == [f"{path.name}: {no_file}; {ANOTHER}"]
    config = tmp_path / "leerie.toml"
    config.write_text(f'{SITE}[broker]\npassword_file = "pipe"\n')
    assert [line.split("broker.")[1] for line in said(config)] == [f"password_file: {no_file}; a file of UTF-8 text"]


def test_a_mark_of_the_byte_order_is_read_over(tmp_path: Path) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text(f"{SITE.strip()}\nkelvin = 1\n", encoding="utf-8-sig")
    line = SITE.strip().count("\n") + 2
    assert said(path) == [
        f"leerie.toml:{line} site.kelvin: 1 is not allowed; a whole number of kelvin from 1000 to 20000"
    ]
    path.write_text(SITE, encoding="utf-8-sig")
    assert load(path, {}).building.site.latitude


def test_a_password_that_is_none_is_not_shown(tmp_path: Path) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text(f"{SITE}[broker]\npassword = 12345\n")
    assert [line.split("broker.")[1] for line in said(path)] == ["password: is no text; text in quotes"]


@pytest.mark.parametrize(
    ("name", "problem"),
    [
        ('""', '"" is empty; text on one line'),
        (r'"two\nlines"', "has a line break in it; text on one line"),
        (r'"a\u001b[31mred"', "has a control character in it; text on one line"),
        ("5", "5 is not allowed; text in quotes"),
    ],
)
def test_a_name_that_is_no_text(tmp_path: Path, name: str, problem: str) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text(f"{SITE.strip()}\nname = {name}\n")
    assert [line.split("site.name: ")[1] for line in said(path)] == [problem]


def test_where_there_are_no_names_none_is_offered(tmp_path: Path) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text(f'{SITE}[rooms.hall]\nsensors = ["pir"]\nscenes = {{ asked = {{ lamp = 1 }} }}\n')
    assert [line.split(": ", 1)[1] for line in said(path)] == [
        "there is no sensor pir; there are none",
        "hall has no lamp lamp; the room has no lamps",
    ]


def test_control_characters_never_reach_a_terminal(tmp_path: Path) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text('[site]\n"\\u001b[31m\\nred" = 1\nlatitude = 1\nlongitude = 1\ntimezone = "U\\u009bTC"\n')
    lines = said(path)
    assert len(lines) == 2
    assert all(line.isprintable() for line in lines)
