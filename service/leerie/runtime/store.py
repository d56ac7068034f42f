"""The rooms' records in a folder: one SQLite file, each commit on the disk before it returns.

Losing the folder must not cost the light: every failure is one line for the log, and the records live on with the
broker.
"""

import contextlib
import os
import sqlite3
from collections.abc import Mapping
from pathlib import Path

FILE = "records.db"
_SIDES = ("", "-wal", "-shm")


class StoreError(Exception):
    """The folder cannot keep records; the text names it and says why."""


class Store:
    """Belongs to the thread that opened it."""

    def __init__(self, folder: str) -> None:
        """Raises StoreError. A damaged file is set aside under another name, which `damaged` then tells."""
        self._path = Path(folder) / FILE
        self.damaged: Path | None = None
        try:
            self._path.parent.mkdir(exist_ok=True)
            self._db = self._open()
        except (OSError, sqlite3.Error) as fault:
            raise StoreError(f"{folder}: no records can be kept here: {_why(fault)}") from fault

    def read(self) -> dict[str, bytes]:
        """Every room's record. Raises StoreError."""
        try:
            return dict(self._db.execute("SELECT room, body FROM record ORDER BY room"))
        except sqlite3.Error as fault:
            raise StoreError(f"{self._path}: records cannot be read: {_why(fault)}") from fault

    def forget(self, room: str) -> None:
        """Keep nothing of this room. Raises StoreError."""
        try:
            with self._db:
                self._db.execute("DELETE FROM record WHERE room = ?", (room,))
        except sqlite3.Error as fault:
            raise StoreError(f"{self._path}: records cannot be written: {_why(fault)}") from fault

    def write(self, records: Mapping[str, bytes]) -> None:
        """Keep these, all or none. Raises StoreError."""
        try:
            with self._db:
                self._db.executemany(
                    "INSERT INTO record VALUES (?, ?) ON CONFLICT (room) DO UPDATE SET body = excluded.body",
                    records.items(),
                )
        except sqlite3.Error as fault:
            raise StoreError(f"{self._path}: records cannot be written: {_why(fault)}") from fault

    def close(self) -> None:
        self._db.close()

    def _open(self) -> sqlite3.Connection:
        db = self._connect()
        try:
            _prepare(db)
        except sqlite3.DatabaseError as fault:
            db.close()
            if isinstance(fault, sqlite3.OperationalError):
                raise  # no space, no permission, locked: the file itself may be whole
            self.damaged = self._set_aside()
            db = self._connect()
            _prepare(db)
        return db

    def _connect(self) -> sqlite3.Connection:
        """Who is home is nobody else's business; SQLite gives the files beside this one its mode."""
        os.close(os.open(self._path, os.O_CREAT | os.O_RDWR, 0o600))
        with contextlib.suppress(PermissionError):  # somebody else's, which we may write all the same
            self._path.chmod(0o600)
        return sqlite3.connect(self._path, timeout=1.0)

    def _set_aside(self) -> Path:
        number = 1
        while (aside := self._path.with_name(f"{FILE}.damaged-{number}")).exists():
            number += 1
        for side in _SIDES:
            part = self._path.with_name(FILE + side)
            if part.exists():
                part.rename(aside.with_name(aside.name + side))
        return aside


def _prepare(db: sqlite3.Connection) -> None:
    """Make the file ready; raises sqlite3.DatabaseError where it is no database or not whole."""
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    if db.execute("PRAGMA quick_check").fetchone() != ("ok",):
        raise sqlite3.DatabaseError("it is not whole")
    db.execute("CREATE TABLE IF NOT EXISTS record (room TEXT PRIMARY KEY, body BLOB NOT NULL) STRICT")
    db.commit()


def _why(fault: Exception) -> str:
    return fault.strerror or str(fault) if isinstance(fault, OSError) else str(fault)
