"""What is fuzzed. Each target takes bytes, and raises where they bring out anything that must not be."""

import json
import math
import tempfile
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, get_args
from zoneinfo import ZoneInfo

import msgspec
from msgspec.structs import replace

from leerie import record as records
from leerie import report
from leerie.config import ConfigError, Problem, durations, load
from leerie.config.building import Building
from leerie.config.payload import parse
from leerie.config.problems import NotAllowedError
from leerie.controller import Controller
from leerie.fixtures.lamp import Lamp
from leerie.intake import metar
from leerie.intake.inputs import BiasWish, HoldWish, Input, Metered, Read
from leerie.intake.intake import Intake
from leerie.intake.refusal import Refusal
from leerie.messages import Message, Outcome
from leerie.notes import RefusalReason, Refused
from leerie.now import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Now
from leerie.occupancy.records import Place
from leerie.occupancy.table import State

from . import words
from .drawing import Draw
from .house import EXAMPLE, SMALL, START, Walk, building

Target = Callable[[bytes], None]

# ---- messages --------------------------------------------------------------------------------------------------------

STRANGE_TOPICS = (
    *(
        "",
        "/",
        "//",
        "leerie",
        "leerie/",
        "leerie/room/workshop/hold/",
        "leerie/room//hold",
        "/leerie/room/workshop/hold",
    ),
    *(
        "LEERIE/room/workshop/hold",
        "leerie/room/Workshop/hold",
        "leerie/rооm/workshop/hold",
        "leerie/room/workshop/hold\x00",
    ),
    *("$SYS/broker/uptime", "$share/a/leerie/#", "leerie/room/+/hold", "leerie/#", "leerie/room/workshop/state"),
    *("leerie/memory/workshop", "leerie/service", "leerie/room/cellar/hold", "\u202e", "\ufeffleerie", "x" * 65_535),
)
"""Topics that nobody asked for, most of them much like one that somebody did."""
PAYLOADS = (
    *(b"on", b"off", b"1", b"0", b"true", b"open", b"closed", b"short", b"long", b"75", b"8120.5", b"light", b"dark"),
    *(
        b"toggle",
        b"start",
        b"end",
        b"-0.15",
        b'{"target": true}',
        b'{"distance": 0.4}',
        b'{"cloud": 75}',
        b'{"lx": 480.5}',
    ),
    *(
        b'{"hold": true, "for": "90m", "level": 0.4, "kelvin": 2700}',
        b'{"hold": false}',
        b'{"bias": 0.2, "for": "vacant"}',
    ),
    b"METAR EGPF 251350Z 24012KT 9999 SCT030 08/04 Q1012",
)
PAYLOAD_WORDS = (*words.JSON, *words.NUMBERS, *words.TEXT)


def message(draw: Draw) -> Message:
    topics = Intake(building()).filters() if draw.number(7) else STRANGE_TOPICS
    topic = draw.of(topics)
    retained = draw.number(3) == 3
    return Message(topic, draw.bytes_like(PAYLOADS, PAYLOAD_WORDS), retained)


def intake(data: bytes) -> None:
    """Topic and payload → what they mean, or a refusal in one line."""
    given = message(Draw(data))
    way_in = Intake(building())
    results = way_in.take(given)
    if given.topic not in way_in.filters():
        assert [(result.source, result.reason) for result in results if isinstance(result, Refused)] == [
            ("unknown", "unknown_topic")
        ]
    for result in results:
        if isinstance(result, Refused):
            is_clear(result)
        else:
            is_within_bounds(result)


def is_clear(refused: Refused) -> None:
    assert refused.reason in get_args(RefusalReason)
    assert refused.text.isprintable()
    assert 0 < len(refused.text) <= 400
    house = building()
    assert refused.source.split("/")[0] in {*house.sensors, *house.rooms, "cloud", "outdoor", "meter", "unknown"}


def is_within_bounds(given: Input) -> None:
    match given:
        case Read("cloud", value):
            assert value is None or 0 <= value <= 1
        case Read("outdoor", value) | Metered(_, value):
            assert value is not None
            assert 0 <= value <= 1e6
        case HoldWish(_, _, ends, level, kelvin):
            assert level is None or 0 <= level <= 1
            assert kelvin is None or (level is not None and 1_000 <= kelvin <= 20_000)
            assert not isinstance(ends, int) or 0 < ends <= durations.LONGEST_MS
        case BiasWish(_, bias, ends):
            assert -0.9 <= bias <= 1
            assert not isinstance(ends, int) or 0 < ends <= durations.LONGEST_MS
        case _:
            pass


# ---- the controller --------------------------------------------------------------------------------------------------

SPANS = (0, 1, 100, 600, SECOND_MS, 21 * SECOND_MS, 2 * MINUTE_MS, 16 * MINUTE_MS, 5 * HOUR_MS)
CLOCK_STEPS_MS = (-30 * HOUR_MS, -1, 5_000, HOUR_MS, 400 * DAY_MS)
MOST_STEPS = 40


def controller(data: bytes) -> None:
    """Messages, time, a clock that is set and a broker that goes and comes: a refused message changes nothing but the
    refusal, and whatever is told can be put into words.
    """
    draw = Draw(data)
    walk = Walk({})
    for _ in range(MOST_STEPS):
        if not draw.more:
            break
        step(draw, walk)


def step(draw: Draw, walk: Walk) -> None:
    what = draw.number(15)
    if what < 10:
        tell(walk, short_message(draw))
    elif what < 13:
        walk.wait(draw.of(SPANS))
    elif what == 13:
        walk.now = Now(walk.now.steady, max(0, walk.now.wall + draw.of(CLOCK_STEPS_MS) * 1_000))
    else:
        walk.controller.lost(walk.now)
        walk.controller.linked(walk.now)
        can_be_told(walk.controller.settled(walk.now))


def short_message(draw: Draw) -> Message:
    """One that leaves bytes for those after it."""
    return message(Draw(bytes(draw.number(255) for _ in range(6 + draw.number(15)))))


def tell(walk: Walk, given: Message) -> None:
    can_be_told(walk.take(walk.controller.advance(walk.now)))
    before = remembered(walk)
    outcome = walk.take(walk.controller.receive(given, walk.now))
    can_be_told(outcome)
    if outcome.notes and all(isinstance(note, Refused) for note in outcome.notes):
        assert not outcome.commands
        assert remembered(walk) == before, "a refused message changed something"


def remembered(walk: Walk) -> dict[str, object]:
    """All that lasts of the rooms, but for what was refused last."""
    return {
        name: (replace(room._occupancy, refusals=()), dict(room._outlet.slots), room._course.holding)
        for name, room in walk.controller._rooms.items()
    }


def can_be_told(outcome: Outcome) -> None:
    zone = local_zone()
    for view in outcome.rooms:
        json.loads(report.room_state(view, zone))
    if outcome.sky is not None:
        json.loads(report.sky(outcome.sky, zone))
    for note in outcome.notes:
        report.note_fields(note, zone)


@cache
def local_zone() -> ZoneInfo:
    return ZoneInfo(building().site.timezone)


# ---- records ---------------------------------------------------------------------------------------------------------

WHOLE = (
    *(
        0,
        -1,
        1,
        2,
        100,
        2**31,
        2**53,
        2**63 - 1,
        2**63,
        2**64 - 1,
        2**64,
        10**30,
        -(2**63),
        86_400_000,
        315_360_000_001,
    ),
    *(
        10**15,
        10**15 - 1,
        10**15 + 1,
        -(10**15),
        2 * 10**17,
        2 * 10**17 - 1,
        START.steady,
        START.wall,
        START.steady + DAY_MS,
    ),
)
BROKEN = (0.0, -0.0, 0.5, 1.0, -0.5, 2.5, 1e308, -1e308, 5e-324, 1e17, -300.0, 90.0)
NAMES = (
    *(
        "",
        "x",
        "\u202e\n",
        "x" * 5_000,
        "ever",
        "vacant",
        "day_part",
        "occupied",
        "arriving",
        "passing",
        "grace",
        "day",
        "evening",
    ),
    *(
        "bench",
        "workshop",
        "bath",
        "radar",
        "pir",
        "door",
        "bath_pir",
        "stuck",
        "out",
        "cleared",
        "part",
        "meter",
        "evidence",
    ),
)
ANYTHING = (None, True, False, [], {}, [1.5, 0.0], [0.3, 0.3], *WHOLE, *BROKEN, *NAMES)
LEFT_OUT = (
    *(
        "kelvin",
        "xy",
        "level",
        "forgotten",
        "blind",
        "latch",
        "asked",
        "bias",
        "past",
        "events",
        "refusals",
        "waiting",
        "began",
    ),
    *(
        "warned",
        "untouched",
        "first",
        "last",
        "heard",
        "awaited",
        "ended",
        "gone",
        "silent",
        "low",
        "metered",
        "latches",
    ),
    *("moving", "reading", "way", "by", "part", "here", "outdoors", "cloud", "outdoor", "format", "event", "sensor"),
)
"""Fields that a record has only where they say something."""
BOOTS = ("one boot", "another boot", "")
AGES_MS = (0, 1, MINUTE_MS, HOUR_MS, 40 * DAY_MS)
PATIENCE_MS = 2 * HOUR_MS
"""Nothing but a hold, or blindness where that means light, keeps a room in which nobody is in use for longer: `stuck`
and the longest grace.
"""


@cache
def lived() -> tuple[tuple[str, bytes], ...]:
    """Rooms and their records as they come about in use."""
    walk = Walk({})
    found = []
    for topic, payload in (
        ("workshop/radar", b'{"target": true}'),
        ("workshop/pir", b"on"),
        ("bath/door", b"open"),
        ("bath/pir", b"on"),
        ("bath/door", b"closed"),
        ("leerie/room/workshop/bias", b'{"bias": 0.2, "for": "20m"}'),
        ("leerie/room/workshop/ask", b"light"),
        ("workshop/lux", b'{"lx": 300}'),
        ("leerie/room/workshop/hold", b'{"hold": true, "level": 0.4, "kelvin": 2700}'),
        ("leerie/room/stairs/hold", b"?"),
        ("bath/pir", b"on"),
        ("leerie/room/bath/hold", b"start"),
        ("workshop/up", b"lost"),
    ):
        walk.say(topic, payload)
        walk.wait(30 * SECOND_MS)
        found += [(room, walk.controller.memory(room)) for room in building().rooms]
    walk.wait(40 * MINUTE_MS)
    found += [(room, walk.controller.memory(room)) for room in building().rooms]
    return tuple(dict.fromkeys(found))


def record(data: bytes) -> None:
    """A record from anywhere → a room that begins with it or without it, goes on, and does not stay lit for nobody."""
    draw = Draw(data)
    room, body = draw.of(lived())
    body = forged(draw, body) if draw.number(3) else draw.bytes_like((body,), PAYLOAD_WORDS)
    if records.decode(body) is None:
        assert records.choose(body, None) is records.choose(None, body) is None
        return
    now = Now(
        START.steady + HOUR_MS + draw.of(AGES_MS), START.wall + (HOUR_MS + draw.of(AGES_MS) - draw.of(AGES_MS)) * 1_000
    )
    walk = Walk({room: body}, now, draw.of(BOOTS))
    goes_on(walk, room, body)


def forged(draw: Draw, body: bytes) -> bytes:
    """The record with some of its values changed; what it leaves out may come in."""
    tree = msgspec.json.decode(body)
    for _ in range(1 + draw.number(2)):
        place, key = _place(draw, tree)
        if isinstance(place, dict) and not draw.number(3):
            key = draw.of(LEFT_OUT)
            place[key] = draw.of((*ANYTHING, tree["at"], {"light": True, "since": tree["at"]}))
        else:
            place[key] = draw.of(like(place[key]) if draw.number(3) else ANYTHING)
    return json.dumps(tree).encode()


def _place(draw: Draw, tree: Any) -> tuple[Any, Any]:
    """One of all the places in it, and the key there."""
    places = [(tree, key) for key in tree]
    for place, key in places:
        inner = place[key]
        keys = inner if isinstance(inner, dict) else range(len(inner)) if isinstance(inner, list) else ()
        places.extend((inner, each) for each in keys)
    return draw.of(places)


def like(value: object) -> tuple[object, ...]:
    """Others of its kind: what is of another kind is refused at once."""
    match value:
        case bool() | None:
            return (True, False, None)
        case int():
            return WHOLE
        case float():
            return BROKEN
        case str():
            return NAMES
    return ANYTHING


def goes_on(walk: Walk, room: str, body: bytes) -> None:
    can_be_told(walk.begun)
    before = records.decode(body)
    begun = records.decode(walk.controller.memory(room))
    assert begun is not None, "what it wrote cannot be read"
    assert before is None or before.room != room or begun.revision > before.revision, "ours does not win"
    can_be_told(walk.say(f"leerie/room/{room}/hold", b"end"))
    walk.wait(PATIENCE_MS)
    can_be_told(walk.controller.settled(walk.now))
    written = records.decode(walk.controller.memory(room))
    assert written is not None, "what it wrote cannot be read"
    occupancy, house = written.occupancy, building()
    empty = (
        occupancy.state is State.VACANT
        or not Place.of(house.rooms[room], house.sensors).eyes
        or occupancy.blind is not None
    )
    assert empty, f"lit for nobody: {occupancy}"


# ---- the config ------------------------------------------------------------------------------------------------------

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


# ---- small grammars --------------------------------------------------------------------------------------------------


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


TARGETS: Mapping[str, Target] = MappingProxyType(
    {target.__name__: target for target in (intake, controller, record, config, payload, duration, weather)}
)
