"""Why a message was refused, in one line that is safe to print anywhere."""

from leerie.config.problems import printable, shown
from leerie.notes import RefusalReason

LINE = 400
"""Characters of a whole line, at most."""


class Refusal(Exception):  # noqa: N818 — a refusal is what the house calls it, and no error of ours
    """Raised by a reader: the whole message is refused and changes nothing."""

    def __init__(self, reason: RefusalReason, text: str) -> None:
        """`text` says what was found and what is allowed; who sent it is put before it by whoever catches this."""
        super().__init__(text)
        self.reason: RefusalReason = reason
        self.text = text


def quoted(value: object) -> str:
    """What was found in a payload, shortened; what holds others is only named."""
    return "null" if value is None else shown(value)


def line(text: str) -> str:
    """The text as one line of printable characters, at most `LINE` of them.

    Control characters, line ends, and marks that reverse or hide what follows them appear as their escapes.
    """
    safe = printable(text[: LINE + 1])
    return safe if len(safe) <= LINE else safe[: LINE - 1] + "…"
