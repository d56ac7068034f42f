"""The journal's file as it is written: entries in batches, and whole days deleted."""

import os
import sqlite3
from collections.abc import Iterable
from pathlib import Path

import msgspec

from leerie.journal import FILE, FORMAT, SCHEMA, Entry, Noted, Step, Stretch, about, is_kept

AT_ONCE = 5_000
"""Entries deleted in one transaction: what is deleted goes through the write-ahead log, which is on the same disk."""
LOG_KEPT_BYTES = 4_000_000
_SIDES = ("", "-wal", "-shm")
_LAST = "SELECT max(coalesce((SELECT max(entry) FROM stretch), 0), coalesce((SELECT max(entry) FROM step), 0))"
_DELETIONS = (
    ("SELECT coalesce(min(entry), ?) FROM step", "DELETE FROM step WHERE entry < ?"),
    ("SELECT coalesce(min(entry), ?) FROM note", "DELETE FROM note WHERE entry < ?"),
    ("SELECT coalesce(min(entry), ?) FROM record", "DELETE FROM record WHERE entry < ?"),
)


class JournalFile:
    """Belongs to the thread that opened it. Every method may raise OSError and sqlite3.Error."""

    def __init__(self, folder: str) -> None:
        """A file that is damaged or of another format is set aside under another name, which `set_aside` then tells."""
        self._path = Path(folder) / FILE
        self.set_aside: Path | None = None
        self._path.parent.mkdir(exist_ok=True)
        self._db = self._open()
        self.last: int = self._db.execute(_LAST).fetchone()[0]
        """The newest entry's number."""

    def write(self, entries: Iterable[Entry]) -> None:
        """All of them or none."""
        last = self.last
        try:
            with self._db:
                for entry in entries:
                    self._write(entry)
        except BaseException:
            self.last = last
            raise

    def used_bytes(self) -> int:
        """What is in use, without pages that are free for what comes."""
        (pages,), (free,), (size,) = (
            self._db.execute(f"PRAGMA {name}").fetchone() for name in ("page_count", "freelist_count", "page_size")
        )
        return int((pages - free) * size)

    def keep_days(self, days: int) -> None:
        """Delete all but the last so many days that the journal has seen."""
        seen: list[str] = []
        first = 0
        for entry, day in self._db.execute("SELECT entry, day FROM stretch ORDER BY entry DESC").fetchall():
            if day not in seen:
                seen.append(day)
            if len(seen) > days:
                self._delete_before(first)
                return
            first = entry

    def drop_oldest(self) -> bool:
        """Delete the oldest day, or if there is but one the oldest stretch of it; False: there is but one stretch."""
        stretches = self._db.execute("SELECT entry, day FROM stretch ORDER BY entry").fetchall()
        if len(stretches) < 2:
            return False
        oldest = stretches[0][1]
        self._delete_before(next((entry for entry, day in stretches if day != oldest), stretches[1][0]))
        return True

    def close(self) -> None:
        self._db.close()

    # ---- opening -----------------------------------------------------------------------------------------------------

    def _open(self) -> sqlite3.Connection:
        try:
            return self._prepared()
        except sqlite3.DatabaseError as fault:
            if isinstance(fault, sqlite3.OperationalError):
                raise  # no space, no permission, locked: the file itself may be whole
        self._move_aside()
        return self._prepared()

    def _prepared(self) -> sqlite3.Connection:
        # What people say and do at home stands in it. SQLite gives its log the file's own mode.
        os.close(os.open(self._path, os.O_CREAT | os.O_RDWR, 0o600))
        self._path.chmod(0o600)
        db = sqlite3.connect(self._path, timeout=1.0)
        try:
            _prepare(db)
        except BaseException:
            db.close()
            raise
        return db

    def _move_aside(self) -> None:
        number = 1
        while (aside := self._path.with_name(f"{FILE}.damaged-{number}")).exists():
            number += 1
        for side in _SIDES:
            part = self._path.with_name(FILE + side)
            if part.exists():
                part.rename(aside.with_name(aside.name + side))
        self.set_aside = aside

    # ---- rows --------------------------------------------------------------------------------------------------------

    def _write(self, entry: Entry) -> None:
        if isinstance(entry, Noted):
            rows = (
                (self.last, place, type(note).__struct_config__.tag, about(note), msgspec.json.encode(note))
                for place, note in enumerate(entry.notes)
                if is_kept(note)
            )
            self._db.executemany("INSERT INTO note VALUES (?, ?, ?, ?, ?)", rows)
            return
        self.last += 1
        if isinstance(entry, Step):
            self._write_step(entry)
        else:
            self._write_stretch(entry)

    def _write_step(self, step: Step) -> None:
        message = step.message
        heard = (None, None, None) if message is None else (message.topic, message.payload, message.retained)
        row = (self.last, step.call, step.now.steady, step.now.wall, *heard, step.number)
        self._db.execute("INSERT INTO step VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row)

    def _write_stretch(self, stretch: Stretch) -> None:
        when = (stretch.now.steady, stretch.now.wall, stretch.day)
        known = msgspec.json.encode(stretch.known).decode()
        what = (stretch.config, stretch.boot, stretch.version, known, stretch.lost)
        row = (self.last, stretch.why, *when, *what)
        self._db.execute("INSERT INTO stretch VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
        records = ((self.last, room, body) for room, body in stretch.memory.items())
        self._db.executemany("INSERT INTO record VALUES (?, ?, ?)", records)

    def _delete_before(self, entry: int) -> None:
        with self._db:
            # These first: what they began is out of reach from here on, should the rest be cut short.
            self._db.execute("DELETE FROM stretch WHERE entry < ?", (entry,))
        for oldest, delete in _DELETIONS:
            (first,) = self._db.execute(oldest, (entry,)).fetchone()
            for end in range(first + AT_ONCE, entry + AT_ONCE, AT_ONCE):
                with self._db:
                    self._db.execute(delete, (min(end, entry),))


def _prepare(db: sqlite3.Connection) -> None:
    """Make the file ready; raises sqlite3.DatabaseError where it is no journal of this format."""
    (format_,), (tables,) = (
        db.execute(query).fetchone() for query in ("PRAGMA user_version", "SELECT count(*) FROM sqlite_schema")
    )
    if tables and format_ != FORMAT:
        raise sqlite3.DatabaseError(f"a journal of format {format_}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = NORMAL")
    db.execute(f"PRAGMA journal_size_limit = {LOG_KEPT_BYTES}")
    db.executescript(f"BEGIN; {SCHEMA} PRAGMA user_version = {FORMAT}; COMMIT;")
