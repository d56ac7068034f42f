"""Arguments whose values are to be told of in our words, all that are wrong at once."""

import math
from collections.abc import Iterable

from leerie.cli import StopError
from leerie.config.problems import nearest, printable, shown


class Options:
    """Reads one after another and notes what is wrong."""

    def __init__(self) -> None:
        self._wrong: list[str] = []

    def word(self, name: str, text: str, known: Iterable[str]) -> str:
        """One of the known words, in any case, as on the topics."""
        word = text.strip().casefold()
        if word not in known:
            meant = nearest(word, known)
            self._refuse(name, text, ", ".join(known) + (f"; did you mean {meant}?" if meant else ""))
        return word

    def number(self, name: str, text: str | None, bounds: tuple[float, float]) -> float | None:
        """A number within the bounds; None where there is none."""
        if text is None:
            return None
        least, most = bounds
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not least <= number <= most:
            self._refuse(name, text, f"a number from {least:.10g} to {most:.10g}")
        return number

    def _refuse(self, name: str, text: str, allowed: str) -> None:
        self.note(f"{name}: {shown(text)} is not allowed; allowed: {allowed}")

    def note(self, wrong: str) -> None:
        self._wrong.append(printable(wrong))

    def stop_if_wrong(self) -> None:
        """Raises StopError with all that was noted."""
        if self._wrong:
            raise StopError("\n".join(self._wrong), 2)
