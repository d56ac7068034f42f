"""Delays between attempts."""

import random

from hypothesis import given
from hypothesis import strategies as st

from leerie.runtime.backoff import FIRST_S, LONGEST_S, Backoff


@given(st.integers())
def test_delays_double_up_to_half_a_minute_and_chance_takes_at_most_half(seed: int) -> None:
    backoff = Backoff(random.Random(seed))
    for attempt in range(20):
        whole_s = min(LONGEST_S, FIRST_S * 2**attempt)
        assert whole_s / 2 <= backoff.next_s() <= whole_s


def test_two_daemons_do_not_come_back_in_step() -> None:
    one, other = Backoff(), Backoff()
    assert [one.next_s() for _ in range(5)] != [other.next_s() for _ in range(5)]


def test_after_a_success_delays_are_short_again() -> None:
    backoff = Backoff()
    for _ in range(20):
        backoff.next_s()
    backoff.succeeded()
    assert backoff.next_s() <= FIRST_S
