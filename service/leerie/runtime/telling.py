"""Notes and link news become log lines, as many as anybody would read."""

from collections.abc import Iterable
from typing import TypeAlias
from zoneinfo import ZoneInfo

import msgspec

from leerie import notes, report
from leerie.notes import Faulted, Note, Recovered, Refused
from leerie.now import MINUTE_MS, Now
from leerie.runtime.log import Log

QUIET = (notes.Heard, notes.Commanded, notes.Coalesced, notes.NotHeld)
"""Counted, not told: the decision that they led to, or did not, is the line."""
MOST_A_MINUTE = 20
"""Lines of one event in one room: more than any people bring about, and a sensor that chatters reaches it at once."""

Key: TypeAlias = tuple[str, ...]


class Window(msgspec.Struct):
    """A minute of one event in one room."""

    begun: int
    """Steady ms."""
    told: int = 0
    left_out: int = 0
    newest: Note | None = None
    """The last one that found the minute full; it is told when the minute is over."""


class Wrong(msgspec.Struct):
    """A fault that was told, and its end, if that was."""

    at: int
    """When it was last told, steady ms."""
    stands: bool = True
    back: Faulted | None = None
    """It came back within the minute, and nobody has been told yet."""


class Teller:
    """One wide line a decision. What keeps being wrong, and what goes to and fro, is told so often and no more; the log
    may be late by a minute then, but its last word on a fault or a room is right.
    """

    def __init__(self, log: Log, zone: ZoneInfo) -> None:
        self._log = log
        self._zone = zone
        # Bounded: a key is of names of the config.
        self._refused: dict[Key, int] = {}
        self._wrong: dict[Key, Wrong] = {}
        self._windows: dict[Key, Window] = {}

    def tell(self, told: Iterable[Note], now: Now) -> None:
        told = tuple(told)
        standing = [_key(note) for note in told if isinstance(note, Faulted)]
        for note in told:
            match note:
                case Refused():
                    self._refusal(note, now)
                case Faulted():
                    self._fault(note, now)
                case Recovered():
                    if _key(note) not in standing:  # else it is still wrong, in other words
                        self._recovery(note)
                case _ if not isinstance(note, QUIET):
                    self._rest(note, now)
        self._make_up(now)

    def _refusal(self, note: Refused, now: Now) -> None:
        key = (note.source, note.reason)
        before = self._refused.get(key)
        if before is None or now.steady - before >= MINUTE_MS:
            self._refused[key] = now.steady
            self._line(note)

    def _fault(self, note: Faulted, now: Now) -> None:
        """A fault is told when it comes, but not one that comes and goes more than once a minute."""
        key = _key(note)
        known = self._wrong.get(key)
        if known is None or (not known.stands and now.steady - known.at >= MINUTE_MS):
            self._wrong[key] = Wrong(now.steady)
            self._line(note)
        elif not known.stands:
            known.back = note

    def _recovery(self, note: Recovered) -> None:
        known = self._wrong.get(_key(note))
        if known is not None and not known.stands:
            known.back = None
            return
        if known is not None:
            known.stands = False
        self._line(note)

    def _rest(self, note: Note, now: Now) -> None:
        key = _key(note)
        window = self._windows.get(key)
        if window is None or (now.steady - window.begun >= MINUTE_MS and window.newest is None):
            window = self._windows[key] = Window(now.steady)
        if window.told < MOST_A_MINUTE:
            window.told += 1
            self._line(note)
        else:
            window.left_out += window.newest is not None
            window.newest = note

    def _make_up(self, now: Now) -> None:
        """Tell what was kept back and holds still."""
        for known in self._wrong.values():
            if known.back is not None and now.steady - known.at >= MINUTE_MS:
                back, known.back = known.back, None
                known.at, known.stands = now.steady, True
                self._line(back)
        for key, window in self._windows.items():
            if window.newest is not None and now.steady - window.begun >= MINUTE_MS:
                if window.left_out:
                    self._log.tell("left out", what=key[0], whom=key[1], times=window.left_out)
                self._line(window.newest)
                self._windows[key] = Window(now.steady, 1)

    def _line(self, note: Note) -> None:
        event, fields = report.note_fields(note, self._zone)
        self._log.tell(event.replace("_", " "), **fields)


def _key(note: Note) -> Key:
    """What a note is about: a fault in a room, or a kind of event and the room or lamp that it happens to."""
    if isinstance(note, Faulted | Recovered):
        return note.room, note.fault.code, note.fault.what
    whom = getattr(note, "room", None) or getattr(note, "fixture", None) or ""
    return str(note.__struct_config__.tag).replace("_", " "), str(whom)
