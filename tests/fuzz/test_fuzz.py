"""A short turn of every target, the same each time; `python -m tests.fuzz` takes longer ones."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .targets import TARGETS

TURNS = {"controller": 60, "record": 120, "config": 100}
MOST = 400


@pytest.mark.parametrize("name", TARGETS)
def test_whatever_bytes_come_nothing_breaks(name: str) -> None:
    @settings(
        derandomize=True,
        database=None,
        max_examples=TURNS.get(name, MOST),
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    @given(st.binary(max_size=120))
    def turn(data: bytes) -> None:
        TARGETS[name](data)

    turn()
