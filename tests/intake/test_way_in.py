"""The way in as a whole: which topics, who reads what, and that nothing ever breaks it."""

import json
from collections.abc import Callable
from typing import get_args

from hypothesis import given
from hypothesis import strategies as st

from leerie.config.building import Building, Daylight
from leerie.intake.inputs import Input
from leerie.intake.intake import Intake
from leerie.messages import Message
from leerie.notes import RefusalReason, Refused

FILTERS = (
    "workshop/bench/radar", "workshop/bench/up", "workshop/bench/cell", "stair/pir", "workshop/door", "workshop/wall",
    "workshop/bell", "glue/pot", "attic/eye", "weather/now", "roof/lux",
    "leerie/room/workshop/hold", "leerie/room/workshop/ask", "leerie/room/workshop/bias",
    "leerie/room/stairs/hold", "leerie/room/stairs/ask", "leerie/room/stairs/bias",
    "leerie/room/attic/hold", "leerie/room/attic/ask", "leerie/room/attic/bias",
)  # fmt: skip


def test_it_wants_each_topic_once_in_a_fixed_order(intake: Intake) -> None:
    assert intake.filters() == FILTERS


def test_without_feeds_it_wants_none(build_with: Callable[[Daylight], Building]) -> None:
    plain = Intake(build_with(Daylight(100.0, 20_000.0, "log", 0.6, None, None)))
    assert plain.filters() == tuple(topic for topic in FILTERS if topic not in ("weather/now", "roof/lux"))


def test_a_topic_nobody_reads_is_refused_once(intake: Intake) -> None:
    assert intake.take(Message("cellar/\u202ewine", b"on")) == (
        Refused("unknown", "unknown_topic", 'nobody reads topic "cellar/\\u202ewine"'),
    )


JSONISH = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: (
        st.lists(inner) | st.dictionaries(st.sampled_from(["target", "press", "hold", "level", "for"]), inner)
    ),
    max_leaves=8,
)
PIECES = st.lists(
    st.sampled_from(
        [
            '{"',
            '"',
            "}",
            "[",
            "]",
            ":",
            ",",
            "hold",
            "target",
            "true",
            "null",
            "1e400",
            "-0",
            "\\ud800",
            "\\",
            " ",
            "🎻",
        ]
    )
).map(lambda parts: "".join(parts).encode())
PAYLOADS = (
    st.binary()
    | PIECES
    | st.text().map(str.encode)
    | JSONISH.map(lambda value: json.dumps(value).encode())
    | st.tuples(PIECES, st.integers(1, 5000)).map(lambda made: made[0] * made[1])
)


@given(st.sampled_from([*FILTERS, "elsewhere"]) | st.text(), PAYLOADS, st.booleans())
def test_no_message_raises_and_every_refusal_is_one_printable_line(
    intake: Intake, topic: str, payload: bytes, retained: bool
) -> None:
    for result in intake.take(Message(topic, payload, retained)):
        assert isinstance(result, (*get_args(Input), Refused))
        if isinstance(result, Refused):
            assert result.reason in get_args(RefusalReason)
            assert result.text.isprintable()
            assert 0 < len(result.text) <= 400


@given(PAYLOADS)
def test_one_reader_answers_for_itself_alone(intake: Intake, payload: bytes) -> None:
    """A topic that two sensors share gives two answers, in config order."""
    assert [
        result.source if isinstance(result, Refused) else result.sensor
        for result in intake.take(Message("glue/pot", payload))
    ] == ["glue_mat", "varnish_warm"]
