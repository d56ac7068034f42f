"""The one place where leerie reads this machine's clocks."""

import ctypes
import time
import uuid
from collections.abc import Callable
from functools import cache
from pathlib import Path

from leerie.now import Now

NOT_SYNCHRONISED = 5
"""TIME_ERROR, what adjtimex(2) answers while nothing keeps the wall clock right (Linux, <sys/timex.h>)."""
TIMEX_BYTES = 512
"""More than struct timex takes on any machine (208 where a long has 64 bits)."""
_BOOT = Path("/proc/sys/kernel/random/boot_id")


def _steady_ns() -> int:
    # CLOCK_BOOTTIME counts suspend and is Linux's alone; elsewhere monotonic time is the nearest thing.
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic_ns()


class Clock:
    """Now, and how long a while of it takes in real time.

    With a `speed` other than 1, or a `start` (µs UTC), time is invented: it begins at `start` (default: now) and runs
    `speed` times as fast as the real one.
    """

    def __init__(self, speed: float = 1.0, start: int | None = None) -> None:
        if speed <= 0:
            raise ValueError(f"a clock runs forwards: speed {speed} must be above 0")
        self.speed = speed
        self._invented = speed != 1 or start is not None
        self._begun_ns = _steady_ns()
        self._start = time.time_ns() // 1_000 if start is None else start
        self.boot = self._name_boot()
        """Names this run of the steady clock: steady readings of two runs are not compared."""

    def now(self) -> Now:
        steady_ns = _steady_ns()
        if not self._invented:
            return Now(steady_ns // 1_000_000, time.time_ns() // 1_000)
        gone_us = int((steady_ns - self._begun_ns) * self.speed) // 1_000
        return Now(self._begun_ns // 1_000_000 + gone_us // 1_000, self._start + gone_us)

    def known(self, after_ms: int, not_before: int) -> bool:
        """Is the wall clock known to be right? The kernel calls it synchronised; or the machine has run for `after_ms`
        and it is not before `not_before` (µs UTC), when somebody wrote down what time it was.
        """
        now = self.now()
        return self._invented or synchronised() or (now.steady >= after_ms and now.wall >= not_before)

    def real_s(self, ms: int) -> float:
        """Real seconds that `ms` of this clock take."""
        return ms / 1_000 / self.speed

    def _name_boot(self) -> str:
        try:
            return uuid.uuid4().hex if self._invented else _BOOT.read_text("ascii").strip()
        except OSError:
            return uuid.uuid4().hex


def synchronised() -> bool:
    """Does the kernel call the wall clock synchronised? Where it cannot be asked, it does not."""
    adjtimex = _adjtimex()
    # All zeros ask for nothing to be changed, which everybody may.
    state = adjtimex(ctypes.create_string_buffer(TIMEX_BYTES)) if adjtimex is not None else -1
    return 0 <= state < NOT_SYNCHRONISED


@cache
def _adjtimex() -> Callable[[object], int] | None:
    return getattr(ctypes.CDLL(None), "adjtimex", None)
