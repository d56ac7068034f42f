"""What fuzzing has found, or was to find, each as a plain case."""

import io
import json
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import pytest

from leerie import record as records
from leerie.messages import Message
from leerie.notes import HoldBegun, HoldEnded, Refused
from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS, Now
from leerie.record import decode
from leerie.runtime import log
from leerie.runtime.metrics import Metrics
from leerie.runtime.telling import Teller

from .forging import goes_on, lived
from .grammars import is_config
from .house import SMALL, START, Walk, building
from .messages import STRANGE_TOPICS
from .told import can_be_told

LATER = Now(START.steady + HOUR_MS, START.wall + HOUR_MS * 1_000)
"""When the lived records are taken up again."""

# ---- records that anybody may have written ---------------------------------------------------------------------------


def body_with(*present: str) -> dict[str, Any]:
    """A record of the workshop in whose occupancy these stand."""
    for room, body in lived():
        tree: dict[str, Any] = msgspec.json.decode(body)
        if room == "workshop" and all(tree["occupancy"].get(key) for key in present):
            return tree
    raise AssertionError(f"no record with {present}")


def changed(tree: dict[str, Any], path: str, value: object) -> bytes:
    *inner, last = path.split(".")
    place: Any = tree
    for key in inner:
        place = place[key]
    place[last] = value
    return json.dumps(tree).encode()


FUTURE = {"steady": 10**15, "wall": START.wall}
LONG_AGO = {"steady": -(10**15), "wall": START.wall}


@pytest.mark.parametrize(
    ("present", "path", "value"),
    [
        # The room's state, its timers or its light would begin after the record, and wait for ever.
        ((), "occupancy.since", FUTURE),
        ((), "occupancy.sensors.radar.first", FUTURE),
        ((), "occupancy.sensors.radar.heard", FUTURE),
        (("hold",), "occupancy.hold.since", FUTURE),
        ((), "slots.bench", {"told": {"level": 0.5, "kelvin": 2700, "at": FUTURE}}),
        # What a record could not say again, or no calendar has a name for.
        ((), "occupancy.since", LONG_AGO),
        (("hold",), "occupancy.hold.ends", 10**17),
        (("hold",), "occupancy.hold.ends", 0),
        (("hold",), "occupancy.hold.ends", -1),
        (("bias",), "occupancy.bias.ends", 2**63),
        ((), "began", 2**63),
        ((), "began", -1),
        ((), "occupancy.refusals", [{"code": "message_refused", "what": "x", "since": 2**63, "text": "x"}]),
        ((), "at", {"steady": START.steady, "wall": 10**18}),
        # What no lamp is ever told, and no person ever wished.
        (("hold",), "occupancy.hold.kelvin", 0),
        (("hold",), "occupancy.hold.level", 1.5),
        (("bias",), "occupancy.bias.bias", 1e308),
        ((), "slots.bench", {"told": {"level": 0.5, "kelvin": 0, "at": {"steady": 0, "wall": 0}}}),
        ((), "slots.bench", {"waiting": {"level": 0.5, "kelvin": None, "cause": "ask", "xy": [1.5, 0.0]}}),
        # A presence without a beginning has no end.
        ((), "occupancy.sensors.radar", {"said": True}),
        # The count of records.
        ((), "revision", 0),
        ((), "revision", -1),
        ((), "revision", 2**62 + 1),
        ((), "revision", 2**64),
        ((), "revision", 1.5),
        ((), "revision", "7"),
    ],
)
def test_a_record_that_could_not_have_been_written_is_none(present: tuple[str, ...], path: str, value: object) -> None:
    tree = body_with(*present)
    assert decode(json.dumps(tree).encode()) is not None
    forged = changed(tree, path, value)
    assert decode(forged) is None
    walk = Walk({"workshop": forged}, LATER)
    can_be_told(walk.begun)
    assert decode(walk.controller.memory("workshop")) is not None


@pytest.mark.parametrize("spelt", [b"NaN", b"Infinity", b"1e999", b"-1e999", b"null", b'"0.5"'])
def test_a_record_holds_no_number_that_is_none(spelt: bytes) -> None:
    body = json.dumps(body_with("bias")).encode()
    bias = b'"bias": 0.2'
    assert bias in body
    assert decode(body.replace(bias, b'"bias": ' + spelt)) is None


@pytest.mark.parametrize("revision", [2**53, 2**62 - 1, 2**62])
def test_a_huge_count_of_records_makes_no_room_stuck(revision: int) -> None:
    """Ours wins; where the count is used up, one start has no memory, and the count begins anew."""
    memory = {"workshop": changed(body_with(), "revision", revision)}
    for _ in range(3):
        walk = Walk(memory, LATER)
        written = walk.controller.memory("workshop")
        chosen = records.choose(written, memory["workshop"])
        assert chosen == written or decode(written) is None
        memory = {"workshop": written}
    assert decode(memory["workshop"]) is not None


def test_a_record_of_a_megabyte_is_none() -> None:
    body = json.dumps(body_with()).encode()
    assert decode(body + b" " * (records.MOST_BYTES - len(body))) is not None
    assert decode(body + b" " * (records.MOST_BYTES - len(body) + 1)) is None


@pytest.mark.parametrize("steady", [-(10**15), 0, 10**15])
@pytest.mark.parametrize("boot", ["one boot", "another boot", ""])
def test_whatever_clock_a_record_was_written_by_the_room_goes_on(steady: int, boot: str) -> None:
    """All instants in it moved together: nothing in it is out of order."""
    for room, body in lived():
        moved = _moved(msgspec.json.decode(body), steady - msgspec.json.decode(body)["at"]["steady"])
        data = json.dumps(moved).encode()
        goes_on(Walk({room: data}, LATER, boot), room, data)


def _moved(value: Any, shift: int) -> Any:
    if isinstance(value, dict):
        if value.keys() == {"steady", "wall"}:
            return {"steady": max(-(10**15), min(10**15, value["steady"] + shift)), "wall": value["wall"]}
        return {key: _moved(item, shift) for key, item in value.items()}
    return [_moved(item, shift) for item in value] if isinstance(value, list) else value


def test_a_button_that_was_pressed_before_the_machine_started_again_works_after_it() -> None:
    """The press before is half a second old by no clock: the other boot's clock stood elsewhere."""
    walk = Walk({})
    walk.say("workshop/wall", b"long")
    walk.wait(2 * SECOND_MS)
    again = Walk(
        {"workshop": walk.controller.memory("workshop")}, Now(90_000, walk.now.wall + MINUTE_MS * 1_000), "two"
    )
    outcome = again.say("workshop/wall", b"long")
    assert [type(note) for note in outcome.notes if isinstance(note, HoldBegun | HoldEnded)] == [HoldEnded]


# ---- topics ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("topic", STRANGE_TOPICS)
def test_a_topic_that_only_looks_like_one_of_ours_is_nobodys(topic: str) -> None:
    walk = Walk({})
    walk.wait(MINUTE_MS)
    before = walk.controller.handover(walk.now)
    outcome = walk.controller.receive(Message(topic, b"start"), walk.now)
    [refused] = outcome.notes
    assert isinstance(refused, Refused)
    assert (refused.source, refused.reason, refused.rooms) == ("unknown", "unknown_topic", ())
    assert refused.text.isprintable()
    assert (outcome.commands, outcome.records, outcome.rooms) == ((), (), ())
    assert walk.controller.handover(walk.now) == before


def test_a_hundred_thousand_topics_that_nobody_asked_for_leave_one_count_and_a_line_a_minute() -> None:
    walk = Walk({})
    walk.wait(MINUTE_MS)
    stream = io.StringIO()
    teller = Teller(log.make("json", stream=stream), ZoneInfo("UTC"))
    metrics = Metrics(building(), lambda: walk.now)
    series = sum(len(family.samples) for family in metrics.registry.collect())
    for number in range(100_000):
        walk.now = walk.now.at(walk.now.steady + 1)
        outcome = walk.controller.receive(Message(f"elsewhere/{number}/{number % 7}", b"on"), walk.now)
        teller.tell(outcome.notes, walk.now)
        metrics.count(outcome.notes)
    assert sum(len(family.samples) for family in metrics.registry.collect()) == series
    assert len(stream.getvalue().splitlines()) == 2
    counted = metrics.registry.get_sample_value(
        "leerie_messages_refused_total", {"source": "unknown", "reason": "unknown_topic"}
    )
    assert counted == 100_000


# ---- the config ------------------------------------------------------------------------------------------------------

PAYLOAD = 'payload = { out = "$level", white = "$mired" }'
ARC = 'payload = "$arc"'


@pytest.mark.parametrize(
    "replaced",
    [
        (PAYLOAD, 'payload = { out = "$level", white = "$mired", x = 0x' + "f" * 9_000 + " }"),
        (PAYLOAD, f'payload = {{ out = "$level", white = "$mired", x = {2**64} }}'),
        (ARC, 'payload = "$raw"\nrange = [-1e308, 1e308]'),
        (ARC, 'payload = "$raw"\nresponse = [[-1e308, 0], [1e308, 1]]'),
    ],
)
def test_a_number_that_could_not_be_sent_is_a_mistake_in_the_config(replaced: tuple[str, str]) -> None:
    text = SMALL.replace(*replaced)
    assert text != SMALL
    assert is_config(text.encode(), {})


@pytest.mark.parametrize(
    "spelt", ['{"a": "\\ud800", "b": "$level", "c": "$mired"}', '{"\\udfff": "$level", "c": "$mired"}']
)
def test_half_a_character_from_the_environment_reaches_no_lamp(spelt: str) -> None:
    is_config(SMALL.encode(), {"LEERIE_FIXTURES__BENCH__PAYLOAD": spelt})
