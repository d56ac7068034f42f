"""Records as somebody else might have written them."""

import json
from functools import cache
from typing import Any

import msgspec

from leerie import record as records
from leerie.now import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Now
from leerie.occupancy.records import Place
from leerie.occupancy.table import State

from .drawing import Draw
from .house import START, Walk, building
from .messages import PAYLOAD_WORDS
from .told import can_be_told

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
