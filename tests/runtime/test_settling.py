"""Settling, with a connection that only writes down what is asked of it."""

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from leerie.runtime.settling import BATCH, CANARY_S, Settling


class Paper:
    """A connection on paper."""

    def __init__(self) -> None:
        self.subscribed: list[tuple[str, ...]] = []
        self.sung: list[bytes] = []
        self.qos: list[int] = []

    def subscribe(self, filters: Sequence[str], qos: int = 1) -> int:
        self.subscribed.append(tuple(filters))
        self.qos.append(qos)
        return len(self.subscribed)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, expiry_s: int | None = None) -> int:
        assert topic == "leerie/canary"
        assert not retain
        assert expiry_s is not None, "nobody wants to find an old canary"
        self.sung.append(payload)
        return 1_000 + len(self.sung)


def begin(paper: Paper, filters: Sequence[str], mute: bool = False) -> Settling:
    return Settling(paper, "leerie/canary", "token", filters, 1, 0.0, mute)


@given(st.integers(min_value=1, max_value=5 * BATCH + 1))
def test_every_filter_is_subscribed_once_in_batches_each_with_its_canary(count: int) -> None:
    paper = Paper()
    filters = [f"shed/{number}" for number in range(count)]
    settling = begin(paper, filters)
    rounds = 0
    while not settling.done:
        settling.granted(len(paper.subscribed), [True] * len(paper.subscribed[-1]), 0.0)
        settling.heard(paper.sung[-1], 0.0)
        rounds += 1
    assert paper.subscribed[0] == ("leerie/canary",)
    assert [name for batch in paper.subscribed[1:] for name in batch] == filters
    assert max(map(len, paper.subscribed)) <= BATCH
    assert set(paper.qos) == {1}
    assert rounds == len(paper.sung) == -(-count // BATCH)
    assert settling.unserved == []


def test_no_canary_is_sent_before_the_subscription_is_granted() -> None:
    """Or it could come back before what the broker kept."""
    paper = Paper()
    settling = begin(paper, ["shed/door"])
    settling.granted(1, [True], 0.0)
    assert paper.sung == []
    settling.granted(2, [True], 0.0)
    assert len(paper.sung) == 1


def test_a_canary_of_another_round_or_another_daemon_settles_nothing() -> None:
    paper = Paper()
    settling = begin(paper, [f"shed/{number}" for number in range(BATCH + 1)])
    settling.granted(2, [True] * BATCH, 0.0)
    first = paper.sung[0]
    settling.heard(b"another 0", 0.0)
    assert len(paper.subscribed) == 2
    settling.heard(first, 0.0)
    settling.granted(3, [True], 0.0)
    settling.heard(first, 0.0)
    assert not settling.done


def test_a_refused_filter_is_named_and_the_rest_settles() -> None:
    paper = Paper()
    settling = begin(paper, ["shed/door", "attic/door"])
    settling.granted(2, [True, False], 0.0)
    settling.heard(paper.sung[0], 0.0)
    assert settling.done
    assert settling.unserved == ["attic/door"]


def test_where_the_canary_does_not_come_its_topic_is_named_once_and_nothing_waits_for_it_again() -> None:
    paper = Paper()
    settling = begin(paper, [f"shed/{number}" for number in range(3 * BATCH)])
    settling.granted(2, [True] * BATCH, 1.0)
    settling.passed(1.0 + CANARY_S - 0.01)
    assert not settling.mute
    settling.passed(1.0 + CANARY_S)
    settling.granted(3, [True] * BATCH, 6.0)
    settling.granted(4, [True] * BATCH, 6.0)
    assert settling.done
    assert settling.unserved == ["leerie/canary"]
    assert begin(Paper(), ["shed/door"], mute=True).unserved == []


def test_where_a_subscription_is_never_answered_its_filters_are_named() -> None:
    settling = begin(Paper(), ["shed/door"])
    settling.passed(CANARY_S)
    assert settling.done
    assert settling.unserved == ["shed/door"]


def test_while_what_was_kept_comes_the_canary_is_waited_for() -> None:
    paper = Paper()
    settling = begin(paper, ["shed/door"])
    settling.kept(CANARY_S - 1)
    settling.passed(CANARY_S)
    settling.granted(2, [True], CANARY_S)
    for second in range(1, 20):
        settling.kept(CANARY_S + second)
        settling.passed(CANARY_S + second)
    assert not settling.done
    settling.heard(paper.sung[0], 30.0)
    assert settling.done
    assert settling.unserved == []
