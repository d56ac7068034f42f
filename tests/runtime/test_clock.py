"""The clock, real and invented."""

import time

import pytest

from leerie.now import Now
from leerie.runtime.clock import Clock


def test_the_real_clock_reads_what_the_machine_reads() -> None:
    before = Now(time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000, time.time_ns() // 1_000)
    now = Clock().now()
    after = Now(time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000, time.time_ns() // 1_000)
    assert before.steady <= now.steady <= after.steady
    assert before.wall <= now.wall <= after.wall


def test_two_real_clocks_are_of_one_boot_and_two_invented_ones_are_not() -> None:
    assert Clock().boot == Clock().boot
    assert Clock(speed=2).boot != Clock(speed=2).boot


def test_an_invented_clock_starts_where_it_is_told_and_runs_at_its_speed(monkeypatch: pytest.MonkeyPatch) -> None:
    reading = 5_000_000_000
    monkeypatch.setattr("leerie.runtime.clock._steady_ns", lambda: reading)
    clock = Clock(speed=60, start=1_000_000)
    assert clock.now() == Now(5_000, 1_000_000)
    reading += 500_000_000
    assert clock.now() == Now(35_000, 31_000_000)
    assert clock.real_s(30_000) == 0.5


@pytest.mark.parametrize("speed", [0, -1])
def test_a_clock_runs_forwards(speed: float) -> None:
    with pytest.raises(ValueError, match="must be above 0"):
        Clock(speed)
