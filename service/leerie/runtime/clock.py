"""The one place where leerie reads this machine's clocks."""

import time
import uuid
from pathlib import Path

from leerie.now import Now

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

    def real_s(self, ms: int) -> float:
        """Real seconds that `ms` of this clock take."""
        return ms / 1_000 / self.speed

    def _name_boot(self) -> str:
        try:
            return uuid.uuid4().hex if self._invented else _BOOT.read_text("ascii").strip()
        except OSError:
            return uuid.uuid4().hex
