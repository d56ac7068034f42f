"""The outbox: newest value per topic, few in flight, nothing lost."""

from hypothesis import given
from hypothesis import strategies as st

from leerie.messages import RETAINED_AT_ONCE
from leerie.runtime.outbox import Outbox


class Wire:
    """Takes what is published, under ever new mids."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, bytes]] = []

    def publish(self, topic: str, payload: bytes) -> int:
        self.sent.append((topic, payload))
        return len(self.sent)


def test_a_newer_value_takes_the_older_ones_place() -> None:
    outbox, wire = Outbox(), Wire()
    outbox.put("sky", lambda: b"old")
    outbox.put("sky", lambda: b"new")
    outbox.send(wire.publish, 0)
    assert wire.sent == [("sky", b"new")]


def test_words_are_made_only_for_what_is_sent() -> None:
    outbox, wire = Outbox(), Wire()
    made: list[int] = []

    def words(number: int) -> bytes:
        made.append(number)
        return b""

    for number in range(5):
        outbox.put("sky", lambda number=number: words(number))
    outbox.send(wire.publish, 0)
    assert made == [4]


def test_a_topic_with_a_gap_waits_and_then_sends_the_newest() -> None:
    outbox, wire = Outbox(), Wire()
    outbox.put("state", lambda: b"1", 200)
    outbox.send(wire.publish, 1_000)
    outbox.answered(1)
    for value in (b"2", b"3"):
        outbox.put("state", lambda value=value: value, 200)
    outbox.send(wire.publish, 1_199)
    assert len(wire.sent) == 1
    assert outbox.due() == 1_200
    outbox.send(wire.publish, 1_200)
    assert wire.sent[1:] == [("state", b"3")]
    assert outbox.due() is None


def test_what_was_in_flight_when_the_connection_went_is_sent_again() -> None:
    outbox, wire = Outbox(), Wire()
    outbox.put("sky", lambda: b"sky")
    outbox.put("state", lambda: b"old")
    outbox.send(wire.publish, 0)
    outbox.put("state", lambda: b"new")
    outbox.lost()
    again = Wire()
    outbox.send(again.publish, 0)
    assert sorted(again.sent) == [("sky", b"sky"), ("state", b"new")]


def test_two_that_chatter_take_turns() -> None:
    """A record and a state come with each message of a flood, and there is a place for one of them at a time."""
    outbox, wire = Outbox(), Wire()
    for number in range(6):
        outbox.put("memory", lambda: b"")
        outbox.put("state", lambda: b"")
        outbox.send(wire.publish, 0, most=1)
        outbox.answered(number + 1)
    assert [topic for topic, _ in wire.sent] == ["memory", "state"] * 3


Act = st.one_of(
    st.tuples(st.just("put"), st.integers(0, 7)),
    st.tuples(st.just("send"), st.just(0)),
    st.tuples(st.just("answer"), st.integers(0, 3)),
    st.tuples(st.just("lost"), st.just(0)),
)


@given(st.lists(Act, max_size=60))
def test_whatever_happens_the_newest_value_of_each_topic_goes_last(acts: list[tuple[str, int]]) -> None:
    outbox, wire = Outbox(), Wire()
    newest: dict[str, bytes] = {}
    flying: list[int] = []
    for step, (act, number) in enumerate(acts):
        if act == "put":
            topic, value = f"topic {number}", f"{step}".encode()
            newest[topic] = value
            outbox.put(topic, lambda value=value: value)
        elif act == "send":
            before = len(wire.sent)
            outbox.send(wire.publish, step)
            flying += range(before + 1, len(wire.sent) + 1)
        elif act == "answer" and flying:
            assert outbox.answered(flying.pop(number % len(flying))) is not None
        elif act == "lost":
            outbox.lost()
            flying.clear()
        assert len(flying) <= RETAINED_AT_ONCE
    while not outbox.empty:
        before = len(wire.sent)
        outbox.send(wire.publish, len(acts))
        for mid in [*flying, *range(before + 1, len(wire.sent) + 1)]:
            outbox.answered(mid)
        flying.clear()
    last = dict(wire.sent)
    assert last == newest
