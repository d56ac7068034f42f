"""How long to wait before the next attempt: longer each time, and never in step with other daemons."""

import random

FIRST_S = 0.5
LONGEST_S = 30.0


class Backoff:
    """Doubles from attempt to attempt up to a bound; chance takes up to half of each delay away."""

    def __init__(self, chance: random.Random | None = None) -> None:
        self._chance = chance or random.Random()  # noqa: S311 -- no secret hangs on it
        self._longest_s = FIRST_S

    def next_s(self) -> float:
        """The delay before the next attempt (s)."""
        delay_s = self._longest_s * self._chance.uniform(0.5, 1.0)
        self._longest_s = min(LONGEST_S, 2 * self._longest_s)
        return delay_s

    def succeeded(self) -> None:
        """Begin with short delays again."""
        self._longest_s = FIRST_S
