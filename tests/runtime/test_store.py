"""Records in a folder: they are there again, and a bad folder costs a line and no light."""

import io
import os
import sqlite3
from pathlib import Path

import pytest

from leerie.runtime import log
from leerie.runtime.keeper import Keeper
from leerie.runtime.store import FILE, Store, StoreError


def test_records_are_there_again(tmp_path: Path) -> None:
    store = Store(str(tmp_path))
    store.write({"attic": b"one", "shed": b"\x00\xff"})
    store.write({"attic": b"two"})
    store.close()
    again = Store(str(tmp_path))
    assert again.read() == {"attic": b"two", "shed": b"\x00\xff"}
    again.close()


def test_a_commit_is_on_the_disk_and_survives_a_dying_process(tmp_path: Path) -> None:
    """A second reader sees it without the first one's closing; the settings are those that a power cut needs."""
    store = Store(str(tmp_path))
    store.write({"attic": b"one"})
    with sqlite3.connect(tmp_path / FILE) as reader:
        assert dict(reader.execute("SELECT room, body FROM record")) == {"attic": b"one"}
    reader.close()
    assert store._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    full = 2  # SQLite, PRAGMA synchronous: 2 is FULL
    assert store._db.execute("PRAGMA synchronous").fetchone() == (full,)
    store.close()


def test_a_folder_that_is_not_there_is_made_but_not_its_parents(tmp_path: Path) -> None:
    Store(str(tmp_path / "state")).close()
    with pytest.raises(StoreError, match="no records can be kept here: No such file or directory"):
        Store(str(tmp_path / "mount" / "state"))


@pytest.mark.parametrize(
    "damage", [b"not a database, but long enough to be looked at" * 99, b"SQLite format 3\x00" + b"\xa5" * 9_000]
)
def test_a_damaged_file_is_set_aside_and_named(tmp_path: Path, damage: bytes) -> None:
    for number in (1, 2):
        (tmp_path / FILE).write_bytes(damage)
        store = Store(str(tmp_path))
        assert store.damaged == tmp_path / f"{FILE}.damaged-{number}"
        assert store.damaged.read_bytes() == damage
        assert store.read() == {}
        store.write({"attic": b"one"})
        assert store.read() == {"attic": b"one"}
        store.close()


def test_a_file_in_the_folders_place_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("")
    with pytest.raises(StoreError, match=r"state: no records can be kept here: File exists"):
        Store(str(tmp_path / "state"))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_an_unwritable_folder_is_one_clear_line(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(StoreError, match="no records can be kept here"):
        Store(str(tmp_path))


def test_a_folder_that_fails_is_told_once_and_stops_nothing(tmp_path: Path) -> None:
    stream = io.StringIO()
    with Keeper(str(tmp_path), log.make("json", stream=stream)) as keeper:
        keeper.keep({"attic": b"one"})
        assert keeper._store is not None
        keeper._store._db.execute("DROP TABLE record")
        keeper.keep({"attic": b"two"})
        keeper.keep({"attic": b"three"})
        assert stream.getvalue().count("records are not written to the folder") == 1
        assert keeper.works() is False
        keeper._store._db.execute("CREATE TABLE record (room TEXT PRIMARY KEY, body BLOB)")
        keeper.keep({"attic": b"four"})
        assert stream.getvalue().count("records are written to the folder again") == 1
        assert keeper.works() is True
        assert keeper.read() == {"attic": b"four"}


def test_a_record_that_could_not_be_written_goes_with_the_next(tmp_path: Path) -> None:
    """Another room's success alone would not mean that all is well."""
    with Keeper(str(tmp_path), log.make("json", stream=io.StringIO())) as keeper:
        keeper.keep({"attic": b"one", "loft": b"one"})
        assert keeper._store is not None
        keeper._store._db.execute("ALTER TABLE record RENAME TO away")
        keeper.keep({"attic": b"two"})
        keeper.keep({"loft": b"two"})
        keeper.forget("loft")
        keeper._store._db.execute("ALTER TABLE away RENAME TO record")
        keeper.keep({"hall": b"one"})
        assert keeper.works() is True
        assert keeper.read() == {"attic": b"two", "hall": b"one", "loft": b"one"}


def test_without_a_folder_nothing_is_kept() -> None:
    stream = io.StringIO()
    with Keeper(None, log.make("json", stream=stream)) as keeper:
        keeper.keep({"attic": b"one"})
        assert keeper.read() == {}
        assert keeper.works() is None
    assert stream.getvalue() == ""


def test_a_missing_folder_is_told_and_the_daemon_goes_on_without(tmp_path: Path) -> None:
    stream = io.StringIO()
    with Keeper(str(tmp_path / "mount" / "state"), log.make("json", stream=stream)) as keeper:
        keeper.keep({"attic": b"one"})
        assert keeper.read() == {}
        assert keeper.works() is False
    assert stream.getvalue().count("\n") == 1


def test_nobody_else_may_read_who_is_home(tmp_path: Path) -> None:
    """A file of an older run is closed to others, too."""
    (tmp_path / FILE).touch(0o644)
    store = Store(str(tmp_path))
    store.write({"workshop": b"{}"})
    assert {path.stat().st_mode & 0o777 for path in tmp_path.iterdir()} == {0o600}
    store.close()
