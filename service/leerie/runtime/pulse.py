"""Whether the daemon is alive and ready, as the scrape page is asked."""

import time
from collections.abc import Callable

STILL_S = 10
"""A loop that has not turned for so long is not alive: it turns each second."""


class Pulse:
    """Beaten by the deciding thread, felt by others."""

    def __init__(self, up: Callable[[], bool]) -> None:
        """`up`: is the link up?"""
        self._up = up
        self.beat()

    def beat(self) -> None:
        """The loop has turned."""
        self._beaten_s = time.monotonic()

    def ailment(self) -> str | None:
        """What keeps it from being alive; None: nothing."""
        still_s = time.monotonic() - self._beaten_s
        return None if still_s < STILL_S else f"nothing has been decided for {still_s:.0f} s"

    def unready(self) -> str | None:
        """What keeps it from being of use; None: nothing."""
        return self.ailment() if self._up() else "not connected to the broker"
