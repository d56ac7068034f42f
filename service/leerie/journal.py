"""The journal: all that went into the controller, so that it can be done again. What its file holds, and reading it.

It is a row of stretches. A *stretch* begins with each room's record and goes on with every call of the controller that
can change anything, each with its instant; beside them stands what the controller noted. Who makes a controller of the
records and repeats the calls gets the same commands (rehearsal/replay.py). `runtime/journal.py` writes it.
"""

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Literal, TypeAlias

import msgspec

from leerie.config.building import Building
from leerie.daylight.outdoors import Outdoors
from leerie.messages import Message
from leerie.notes import Heard, Note
from leerie.now import Now

FILE = "journal.db"
FORMAT = 2
"""Goes up whenever the tables below or what stands in them mean something else."""

SCHEMA = """
CREATE TABLE IF NOT EXISTS stretch (
    entry INTEGER PRIMARY KEY, why TEXT NOT NULL, steady INTEGER NOT NULL, wall INTEGER NOT NULL, day TEXT NOT NULL,
    config TEXT NOT NULL, boot TEXT NOT NULL, version TEXT NOT NULL, known TEXT NOT NULL, lost INTEGER NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS record (
    entry INTEGER NOT NULL, room TEXT NOT NULL, body BLOB NOT NULL, PRIMARY KEY (entry, room)
) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS step (
    entry INTEGER PRIMARY KEY, call TEXT NOT NULL, steady INTEGER NOT NULL, wall INTEGER NOT NULL,
    topic TEXT, payload BLOB, retained INTEGER, number INTEGER
) STRICT;
CREATE TABLE IF NOT EXISTS note (
    entry INTEGER NOT NULL, place INTEGER NOT NULL, kind TEXT NOT NULL, about TEXT NOT NULL, body BLOB NOT NULL,
    PRIMARY KEY (entry, place)
) STRICT, WITHOUT ROWID;
"""
"""`entry` counts up through the whole file. A note belongs to the step of that number."""

Why: TypeAlias = Literal["start", "reload", "midnight", "size", "gap"]
"""What a stretch begins with: a new controller, of a new run or of another config; the site's local midnight; the one
before has grown large; entries before it are missing."""

Call: TypeAlias = Literal[
    "linked", "settled", "lost", "receive", "advance", "taken", "refused", "clock_known", "farewell"
]
"""The controller's methods; `taken` and `refused` are the two ways to be acknowledged."""


class Known(msgspec.Struct, frozen=True, omit_defaults=True):
    """What is known at a stretch's beginning besides the records, which know of rooms alone."""

    online: bool = False
    """Settled, and not lost since."""
    clock: bool = True
    """The wall clock is known to be right."""
    outdoors: Outdoors = Outdoors()
    advanced: int = 0
    """Steady ms; what was due until then has been done."""


class Stretch(msgspec.Struct, frozen=True):
    """A beginning: whoever has this needs nothing of what was before."""

    why: Why
    now: Now
    day: str
    """The date at the site, YYYY-MM-DD."""
    config: str
    """The building's `digest`."""
    boot: str
    version: str
    """leerie's."""
    memory: dict[str, bytes]
    """Each room's record as it was then."""
    known: Known = Known()
    lost: int = 0
    """So many entries are missing before this."""


class Step(msgspec.Struct, frozen=True):
    """One call of the controller."""

    call: Call
    now: Now
    message: Message | None = None
    number: int | None = None
    """The ticket of what was taken or refused; with `settled`, how many publishes the broker takes at a time."""


class Noted(msgspec.Struct, frozen=True):
    """What the step before it brought about."""

    notes: tuple[Note, ...]


Entry: TypeAlias = Stretch | Step | Noted


class JournalError(Exception):
    """There is no journal that can be read; the text says where and why."""


def digest(building: Building) -> str:
    """Names what of a building decides: two configs of the same digest command the same. Holds nothing of how the
    broker is reached.
    """
    parts = [getattr(building, name) for name in building.__struct_fields__ if name not in ("broker", "service")]
    decides = (*parts, building.broker.topics, building.service.drift_ms)
    return hashlib.blake2b(msgspec.json.encode(decides), digest_size=16).hexdigest()


def is_kept(note: Note) -> bool:
    """A message heard stands in the journal as it came."""
    return not isinstance(note, Heard)


def about(note: Note) -> str:
    """The room, sensor or lamp that a note is about."""
    return str(next(getattr(note, name) for name in ("room", "source", "fixture") if hasattr(note, name)))


# ---- reading ---------------------------------------------------------------------------------------------------------

_STRETCH = "SELECT entry, why, steady, wall, day, config, boot, version, known, lost FROM stretch"
_STEP = "SELECT entry, call, steady, wall, topic, payload, retained, number FROM step"
END = 2**63 - 1
"""No entry has this number."""
_note: msgspec.json.Decoder[Note] = msgspec.json.Decoder(Note)
_known: msgspec.json.Decoder[Known] = msgspec.json.Decoder(Known)


class Reader:
    """Reads a journal, also while it is being written. Every method may raise JournalError."""

    def __init__(self, folder: str | Path) -> None:
        """`folder`: the config's `service.state_dir`."""
        self._path = Path(folder) / FILE
        if not self._path.exists():
            raise JournalError(f"{self._path}: there is no journal")
        with self._reading() as db:
            (found,) = db.execute("PRAGMA user_version").fetchone()
        if found != FORMAT:
            raise JournalError(f"{self._path}: a journal of format {found}; this leerie reads format {FORMAT}")

    def stretches(self) -> dict[int, Stretch]:
        """By the number of their entry, in order, and without their records."""
        with self._reading() as db:
            return {row[0]: _stretch(row, {}) for row in db.execute(f"{_STRETCH} ORDER BY entry")}

    def entries(self, first: int = 0) -> Iterator[tuple[int, Stretch | Step]]:
        """Number and entry of all from that stretch on, or from the oldest, as they stand now."""
        with self._reading() as db:
            stretches = db.execute(f"{_STRETCH} WHERE entry >= ? ORDER BY entry", (first,)).fetchall()
            for row, after in pairwise([*stretches, (END,)]):
                number, end = row[0], after[0]
                records = db.execute("SELECT room, body FROM record WHERE entry = ? ORDER BY room", (number,))
                yield number, _stretch(row, dict(records))
                for step in db.execute(f"{_STEP} WHERE entry > ? AND entry < ? ORDER BY entry", (number, end)):
                    yield step[0], _step(step)

    def notes(self, entry: int) -> tuple[Note, ...]:
        """What was noted at that step, less the messages heard."""
        with self._reading() as db:
            rows = db.execute("SELECT body FROM note WHERE entry = ? ORDER BY place", (entry,)).fetchall()
        return tuple(_note.decode(body) for (body,) in rows)

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """The file as it is now, whatever is written or deleted meanwhile."""
        try:
            with closing(sqlite3.connect(f"{self._path.absolute().as_uri()}?mode=ro", uri=True)) as db:
                db.execute("BEGIN")
                yield db
        except sqlite3.Error as fault:
            raise JournalError(f"{self._path}: the journal cannot be read: {fault}") from fault


def _stretch(row: tuple[int, Why, int, int, str, str, str, str, str, int], memory: dict[str, bytes]) -> Stretch:
    _, why, steady, wall, day, config, boot, version, known, lost = row
    return Stretch(why, Now(steady, wall), day, config, boot, version, memory, _known.decode(known), lost)


def _step(row: tuple[int, Call, int, int, str | None, bytes | None, int | None, int | None]) -> Step:
    _, call, steady, wall, topic, payload, retained, number = row
    message = None if topic is None else Message(topic, payload or b"", bool(retained))
    return Step(call, Now(steady, wall), message, number)
