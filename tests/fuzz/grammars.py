"""Everything that is written in a grammar: the config, payloads, durations, weather reports."""

import math
import tempfile
from collections.abc import Mapping
from pathlib import Path

from leerie.config import ConfigError, Problem, durations, load
from leerie.config.building import Building
from leerie.config.payload import parse
from leerie.config.problems import NotAllowedError
from leerie.controller import Controller
from leerie.fixtures.lamp import Lamp
from leerie.intake import metar
from leerie.intake.refusal import Refusal
from leerie.messages import Message

from . import words
from .drawing import Draw
from .house import EXAMPLE, SMALL, START
from .told import can_be_told

CONFIG_WORDS = (*words.TOML, *words.NUMBERS, *words.TEXT)
VARIABLES = (
    *("LEERIE_SITE__LATITUDE", "LEERIE_BROKER__PASSWORD", "LEERIE_FIXTURES__BENCH__PAYLOAD", "LEERIE_ROOMS__WORKSHOP"),
    *(
        "LEERIE_ROOMS__WORKSHOP__SENSORS",
        "LEERIE_SENSORS__RADAR__PRESENT",
        "LEERIE_FIXTURES__BENCH__TRIM",
        "LEERIE_",
        "LEERIE__",
    ),
)


def config(data: bytes) -> None:
    """Bytes, and a variable → a building that can be walked, or a line for each problem."""
    draw = Draw(data)
    environ = {}
    if draw.number(3) == 3:
        size = draw.number(30)
        spelt = bytes(draw.number(255) for _ in range(size))
        value = spelt if draw.number(1) else draw.of(CONFIG_WORDS)
        environ[draw.of(VARIABLES)] = value.decode(errors="surrogateescape").replace("\x00", "")
    seeds = (SMALL.encode(),) * 3 + (EXAMPLE.read_bytes(),)
    is_config(draw.bytes_like(seeds, CONFIG_WORDS), environ)


def is_config(content: bytes, environ: Mapping[str, str]) -> tuple[Problem, ...]:
    """What is said against it; what nothing is said against runs."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "leerie.toml"
        path.write_bytes(content)
        try:
            house = load(path, environ).building
        except ConfigError as refusal:
            problems = refusal.problems
        else:
            runs(house)
            return ()
    assert problems
    for problem in problems:
        assert str(problem).isprintable()
        assert problem.line is None or 1 <= problem.line <= content.count(b"\n") + 1
    return problems


def runs(house: Building) -> None:
    fresh = Controller(house, {}, "one boot")
    fresh.linked(START)
    can_be_told(fresh.settled(START))
    for room in house.rooms:
        can_be_told(fresh.receive(Message(f"{house.broker.topics}/room/{room}/ask", b"light"), START))
    for fixture in house.fixtures.values():
        lamp = Lamp(fixture)
        for level in (0.0, 1e-9, 1.0):
            lamp.messages(level, 2700, 1_000)


def payload(data: bytes) -> None:
    """A lamp's payload → a template, or what is allowed."""
    text = Draw(data).bytes_like((b"$on", b"dim $percent in $fade", b"a$$b$level"), (*words.PLACEHOLDERS, *words.TEXT))
    spelling = text.decode(errors="surrogateescape")
    for given in (spelling, {"a": [spelling, 1, {spelling: True}]}):
        try:
            template = parse(given)
        except NotAllowedError:
            continue
        assert template.names or "$" not in spelling.replace("$$", "")


def duration(data: bytes) -> None:
    """A duration → milliseconds that come back from their shortest spelling, or what is allowed."""
    text = Draw(data).bytes_like((b"1h30m", b"0.4s", b"2d", b"0s"), words.DURATION).decode(errors="replace")
    try:
        ms = durations.parse(text)
    except NotAllowedError:
        return
    assert 0 <= ms <= durations.LONGEST_MS
    assert durations.parse(durations.render(ms)) == ms


def weather(data: bytes) -> None:
    """A report → cloud cover, or a refusal."""
    seeds = (b"METAR EGPF 251350Z 24012KT 9999 FEW015 BKN040 08/04 Q1012 NOSIG", b"OVC008", b"SKC")
    text = Draw(data).bytes_like(seeds, (*words.METAR, *words.TEXT)).decode(errors="replace")
    try:
        cover = metar.cover(text)
    except Refusal:
        return
    assert cover is None or (math.isfinite(cover) and 0 <= cover <= 1)
