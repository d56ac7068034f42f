"""Notes and link news become log lines."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from leerie import notes, report
from leerie.notes import Note
from leerie.now import MINUTE_MS, Now
from leerie.runtime.log import Log

QUIET = (notes.Heard, notes.Commanded, notes.Coalesced, notes.NotHeld)
"""Counted, not told: the decision that they led to, or did not, is the line."""


class Teller:
    """One wide line a decision. What keeps being wrong is told once a minute."""

    def __init__(self, log: Log, zone: ZoneInfo) -> None:
        self._log = log
        self._zone = zone
        self._told: dict[tuple[str, str], int] = {}

    def tell(self, told: Iterable[Note], now: Now) -> None:
        for note in told:
            if isinstance(note, QUIET) or self._repeats(note, now):
                continue
            event, fields = report.note_fields(note, self._zone)
            self._log.tell(event.replace("_", " "), **fields)

    def _repeats(self, note: Note, now: Now) -> bool:
        if not isinstance(note, notes.Refused):
            return False
        # Bounded: a source is a name of the config.
        key = (note.source, note.reason)
        before = self._told.get(key)
        if before is not None and now.steady - before < MINUTE_MS:
            return True
        self._told[key] = now.steady
        return False
