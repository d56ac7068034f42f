"""Topics, payloads and time."""

from typing import get_args

from msgspec.structs import replace

from leerie.config import durations
from leerie.intake.inputs import BiasWish, HoldWish, Input, Metered, Read
from leerie.intake.intake import Intake
from leerie.messages import Message
from leerie.notes import RefusalReason, Refused
from leerie.now import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Now

from . import words
from .drawing import Draw
from .house import Walk, building
from .told import can_be_told

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


# ---- in time --------------------------------------------------------------------------------------------------

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
