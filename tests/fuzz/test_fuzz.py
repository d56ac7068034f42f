"""A short turn of every target, the same each time; `python -m tests.fuzz` takes longer ones."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .targets import TARGETS

TURNS = {"controller": 120, "record": 250, "config": 150}
MOST = 400


@pytest.mark.parametrize("name", TARGETS)
def test_whatever_bytes_come_nothing_breaks(name: str) -> None:
    @settings(
        derandomize=True,
        database=None,
        max_examples=TURNS.get(name, MOST),
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    @given(st.binary(min_size=8, max_size=160))
    def turn(data: bytes) -> None:
        TARGETS[name](data)

    turn()
