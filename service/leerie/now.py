"""An instant, read from two clocks.

Durations are measured by the steady clock, which never steps and counts suspend; day parts and the sun follow the
wall clock, which may step. Both are integers, so that adding a length to a start and storing either in a record lose
nothing: a timer after a restart is the timer before it.
"""

from typing import Annotated, TypeAlias

import msgspec

SECOND_MS = 1_000
MINUTE_MS = 60 * SECOND_MS
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


Steady: TypeAlias = Annotated[int, msgspec.Meta(ge=-(10**15), le=10**15)]
Wall: TypeAlias = Annotated[int, msgspec.Meta(ge=0, le=2 * 10**17)]
"""Bounds for what is read back from a record: some thirty thousand years of boot, and the years 1970 to 8307."""


class Now(msgspec.Struct, frozen=True):
    """One instant."""

    steady: Steady
    """Milliseconds of a clock that never steps (CLOCK_BOOTTIME where there is one)."""
    wall: Wall
    """Microseconds UTC since 1970-01-01; may step."""

    def at(self, steady: int) -> "Now":
        """The instant at which the steady clock reads `steady`, as the wall clock of today would name it."""
        return Now(steady, self.wall + (steady - self.steady) * 1_000)
