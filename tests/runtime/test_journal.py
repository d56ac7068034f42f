"""The journal on its disk: old days go, what stays can be played, and a bad disk costs it and nothing else."""

import inspect
import os
import sqlite3
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from houses import Lines, workshop
from leerie.config import load
from leerie.config.building import Building
from leerie.config.running import Journal as Keeps
from leerie.controller import Controller
from leerie.journal import FILE, FORMAT, JournalError, Reader, Step, Stretch, digest
from leerie.messages import Message
from leerie.now import DAY_MS, HOUR_MS, MINUTE_MS, Now
from leerie.rehearsal.replay import replay
from leerie.runtime import journal_file, log
from leerie.runtime.journal import Journal
from leerie.runtime.recorded import Recorded, recording

START = Now(5_000_000, 1_772_442_000_000_000)  # 2026-03-02 09:00 UTC, a Monday
KEEPS = Keeps(days=14, most_bytes=10**9)
NOT_WRITTEN, AGAIN = "the journal is not written", "the journal is written again"
SET_ASIDE = "the journal was damaged or of another version"
Told = list[tuple[Now, str, bytes]]


@pytest.fixture(scope="module")
def building(tmp_path_factory: pytest.TempPathFactory) -> Building:
    return load(workshop(tmp_path_factory.mktemp("config"), 1883), {}).building


class Disk:
    """A journal whose thread is not begun: the test is the disk, and says when it writes."""

    def __init__(self, folder: Path, keeps: Keeps = KEEPS) -> None:
        self.lines = Lines()
        self.folder = folder
        self.journal = Journal(str(folder), keeps, log.make("json", stream=self.lines))  # type: ignore[arg-type]  # enough of a stream

    def saves(self) -> None:
        self.journal._try_at_s = 0.0
        self.journal._save(str(self.folder))

    def told(self) -> list[str]:
        return [line["event"] for line in self.lines.lines]

    def calls(self) -> list[str]:
        return [entry.why if isinstance(entry, Stretch) else entry.call for _, entry in Reader(self.folder).entries()]


def stretch(day: str = "2026-03-02") -> Stretch:
    return Stretch("start", START, day, "config", "boot", "1", {"attic": b"{}"})


def step(call: str = "advance", size: int = 0) -> Step:
    message = Message("attic/pir", b"x" * size) if size else None
    return Step(call, START, message)  # type: ignore[arg-type]  # one of them


def live(building: Building, disk: Disk, days: int) -> Told:
    """Days in the workshop: somebody comes for a while every three hours; what was commanded."""
    controller = Recorded(Controller(building, {}, "boot"), disk.journal, building, {}, "boot")
    now, told = START, Told()
    controller.linked(now)
    outcome = controller.settled(now)
    for _ in range(0, days * DAY_MS, 3 * HOUR_MS):
        for span, payload in ((20 * MINUTE_MS, b"on"), (160 * MINUTE_MS, b"off")):
            outcome = controller.receive(Message("workshop/bench/radar", payload), now)
            end = now.steady + span
            while True:
                told += [(now, publish.topic, publish.payload) for publish in outcome.commands]
                for publish in outcome.commands:
                    controller.acknowledged(publish.ticket, True, now)
                due = controller.due()
                if due is None or due > end:
                    break
                now = now.at(max(due, now.steady))
                outcome = controller.advance(now)
            now = now.at(end)
        disk.saves()
    disk.journal._close()
    return told


def played(folder: Path, building: Building) -> Told:
    steps = replay((entry for _, entry in Reader(folder).entries()), building)
    return [
        (played.entry.now, publish.topic, publish.payload) for played in steps for publish in played.outcome.commands
    ]


# ---- what is kept ----------------------------------------------------------------------------------------------------


def test_each_day_begins_with_the_records_at_local_midnight(tmp_path: Path, building: Building) -> None:
    told = live(building, Disk(tmp_path), days=3)
    assert played(tmp_path, building) == told
    found = [entry for _, entry in Reader(tmp_path).entries() if isinstance(entry, Stretch)]
    assert [(each.why, each.day) for each in found] == [
        ("start", "2026-03-02"),
        *(("midnight", f"2026-03-{day:02}") for day in (3, 4, 5)),
    ]
    assert [sorted(each.memory) for each in found] == [[], *[["stair", "workshop"]] * 3]
    assert [each.known.online for each in found] == [False, True, True, True]
    assert all(each.known.advanced < each.now.steady for each in found)


def test_old_days_go_whole_and_what_stays_can_be_played(tmp_path: Path, building: Building) -> None:
    """From a midnight, too, the commands are those of then."""
    told = live(building, Disk(tmp_path, Keeps(days=2, most_bytes=10**9)), days=5)
    reader = Reader(tmp_path)
    assert [each.day for each in reader.stretches().values()] == ["2026-03-06", "2026-03-07"]
    with sqlite3.connect(tmp_path / FILE) as db:
        for table in ("step", "note", "record"):
            assert db.execute(f"SELECT min(entry) FROM {table}").fetchone()[0] >= min(reader.stretches())  # noqa: S608 - a name of ours
    db.close()
    midnight = next(iter(reader.stretches().values())).now
    again = played(tmp_path, building)
    assert again == [each for each in told if each[0].steady >= midnight.steady]
    assert len(again) > 200


def test_days_are_those_that_it_has_seen(tmp_path: Path) -> None:
    """A clock that was wrong for a while does not cost all that there is."""
    disk = Disk(tmp_path, Keeps(days=3, most_bytes=10**9))
    for day in ("2026-03-02", "2026-03-03", "2026-03-03", "2091-01-01", "2026-03-03"):
        disk.journal.begin(stretch(day))
        disk.journal.put(step())
        disk.saves()
    days = [each.day for each in Reader(tmp_path).stretches().values()]
    assert days == ["2026-03-02", "2026-03-03", "2026-03-03", "2091-01-01", "2026-03-03"]
    disk.journal.begin(stretch("2026-03-04"))
    disk.saves()
    days = [each.day for each in Reader(tmp_path).stretches().values()]
    assert days == ["2026-03-03", "2026-03-03", "2091-01-01", "2026-03-03", "2026-03-04"]


def test_it_grows_no_larger_than_it_may(tmp_path: Path, building: Building) -> None:
    """Within a day, too: stretches are then shorter than a day."""
    most = 300_000
    told = live(building, Disk(tmp_path, Keeps(days=14, most_bytes=most)), days=8)
    found = list(Reader(tmp_path).stretches().values())
    assert "size" in [each.why for each in found]
    assert len(found) > 2
    with sqlite3.connect(tmp_path / FILE) as db:
        (pages,), (size,) = db.execute("PRAGMA page_count").fetchone(), db.execute("PRAGMA page_size").fetchone()
    db.close()
    assert most / 2 < pages * size < 1.5 * most
    again = played(tmp_path, building)
    assert again == [each for each in told if each[0].steady >= found[0].now.steady]
    assert again


def test_every_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    (tmp_path / FILE).touch(0o644)
    disk = Disk(tmp_path)
    disk.journal.begin(stretch())
    disk.saves()
    files = sorted(tmp_path.glob(f"{FILE}*"))
    assert len(files) == 3, "the database, its log and the index of that"
    assert [file.stat().st_mode & 0o777 for file in files] == [0o600] * 3


def test_payloads_are_kept_as_they_are(tmp_path: Path) -> None:
    disk = Disk(tmp_path)
    said = [Message("attic/pir", bytes(range(256))), Message("attic/pir", b"", retained=True), Message("", b"\x00")]
    disk.journal.begin(stretch())
    for message in said:
        disk.journal.put(Step("receive", START, message))
    disk.saves()
    assert [entry.message for _, entry in Reader(tmp_path).entries() if isinstance(entry, Step)] == said


def test_a_digest_names_what_decides_and_knows_no_password(building: Building, tmp_path: Path) -> None:
    def of(broker: str, service: str = "") -> str:
        return digest(load(workshop(tmp_path, 1883, broker, service), {}).building)

    assert of('password = "rosin"') == of('password = "horsehair"') == digest(building)
    assert of("", 'state_dir = "state"') == digest(building)
    assert of('topics = "house"') != digest(building)
    assert of("", 'drift = "11s"') != digest(building)
    assert of("", 'refresh = "11m"') != digest(building)


def test_a_clean_stop_writes_what_waits(tmp_path: Path) -> None:
    with Journal(str(tmp_path), KEEPS, log.make("json")) as journal:
        journal.begin(stretch())
        for _ in range(100):
            journal.put(step())
    assert len(list(Reader(tmp_path).entries())) == 101


@pytest.mark.parametrize(("folder", "days"), [(None, 14), ("state", 0)])
def test_without_a_folder_or_a_day_to_keep_there_is_none(folder: str | None, days: int, tmp_path: Path) -> None:
    where = None if folder is None else str(tmp_path / folder)
    with Journal(where, Keeps(days, 10**9), log.make("json")) as journal:
        assert recording(Controller, journal) is Controller
    assert list(tmp_path.iterdir()) == []


def test_a_recorded_controller_has_all_of_a_controllers_methods(building: Building, tmp_path: Path) -> None:
    def methods(kind: type) -> dict[str, str]:
        found = inspect.getmembers(kind, inspect.isfunction)
        return {name: str(inspect.signature(each)) for name, each in found if not name.startswith("_")}

    assert methods(Recorded) == methods(Controller)
    with Journal(str(tmp_path), KEEPS, log.make("json")) as journal:
        controller = recording(Controller, journal)(building, {}, "boot")
        assert controller.filters() == Controller(building, {}, "boot").filters()
        controller.linked(START)
        assert controller.handover(START).keys() == building.rooms.keys()
        assert controller.memory("workshop") == b""


# ---- when the disk is bad --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pragma", "why"),
    [
        ("max_page_count = 20", "database or disk is full"),
        ("query_only = ON", "attempt to write a readonly database"),
    ],
)
def test_a_disk_that_takes_nothing_is_told_once_and_what_waits_is_written_later(
    pragma: str, why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As full, and as read-only, as SQLite itself can tell it."""
    prepare = journal_file._prepare

    def hardly(db: sqlite3.Connection) -> None:
        prepare(db)
        db.execute(f"PRAGMA {pragma}")

    disk = Disk(tmp_path)
    disk.journal.begin(stretch())
    disk.saves()
    disk.journal._close()
    monkeypatch.setattr(journal_file, "_prepare", hardly)
    for _ in range(3):
        disk.journal.put(step("receive", 90_000))
        disk.saves()
    assert disk.told() == [NOT_WRITTEN]
    assert disk.journal.works() is False
    assert disk.lines.lines[0]["why"] == why
    assert disk.calls() == ["start"]
    monkeypatch.setattr(journal_file, "_prepare", prepare)
    disk.saves()
    disk.saves()
    assert disk.told() == [NOT_WRITTEN, AGAIN]
    assert disk.calls() == ["start", "receive", "receive", "receive"]
    assert disk.journal.wants_stretch is None, "nothing is missing"


def test_a_disk_that_stays_full_costs_no_memory_without_end(tmp_path: Path) -> None:
    folder = tmp_path / "gone" / "state"
    disk = Disk(folder)
    disk.journal.begin(stretch())
    for _ in range(1_000):
        disk.journal.put(step("receive", 60_000))
        disk.saves()
    assert disk.told() == [NOT_WRITTEN]
    waiting = (*disk.journal._batch, *disk.journal._waiting)
    assert sum(len(each.message.payload) for each in waiting if isinstance(each, Step) and each.message) < 9_000_000
    assert disk.journal.lost == 1_000 + 1 - len(waiting)
    assert disk.journal.wants_stretch is None, "there is no room yet"
    folder.parent.mkdir()
    disk.saves()
    disk.saves()
    assert disk.journal.wants_stretch == "gap"
    assert disk.told() == [NOT_WRITTEN, AGAIN]
    assert disk.journal.works() is True


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_is_told_once(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    disk = Disk(tmp_path)
    for _ in range(3):
        disk.journal.put(step())
        disk.saves()
    assert disk.told() == [NOT_WRITTEN]


def test_a_file_in_the_folders_place_is_told_once(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("")
    disk = Disk(tmp_path / "state")
    for _ in range(3):
        disk.saves()
    assert [(line["event"], line["why"]) for line in disk.lines.lines] == [(NOT_WRITTEN, "File exists")]


@pytest.mark.parametrize(
    "damage", [b"not a database, but long enough to be looked at" * 99, b"SQLite format 3\x00" + b"\xa5" * 9_000]
)
def test_a_damaged_file_is_set_aside_and_named(tmp_path: Path, damage: bytes) -> None:
    for number in (1, 2):
        (tmp_path / FILE).write_bytes(damage)
        disk = Disk(tmp_path)
        disk.journal.begin(stretch())
        disk.saves()
        aside = tmp_path / f"{FILE}.damaged-{number}"
        assert [(line["event"], line["set_aside"]) for line in disk.lines.lines] == [(SET_ASIDE, str(aside))]
        assert aside.read_bytes() == damage
        assert disk.calls() == ["start"]
        disk.journal._close()


def test_a_journal_of_another_format_is_set_aside(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / FILE) as db:
        db.execute("CREATE TABLE stretch (a)")
        db.execute(f"PRAGMA user_version = {FORMAT + 1}")
    db.close()
    with pytest.raises(JournalError, match=f"a journal of format {FORMAT + 1}; this leerie reads format {FORMAT}"):
        Reader(tmp_path)
    disk = Disk(tmp_path)
    disk.saves()
    assert disk.told() == [SET_ASIDE]
    assert (tmp_path / f"{FILE}.damaged-1").exists()


def test_a_file_damaged_while_it_is_written_is_set_aside_and_a_stretch_is_wanted(tmp_path: Path) -> None:
    """What is in the new file can only be played from a beginning that is in it."""
    disk = Disk(tmp_path)
    disk.journal.begin(stretch())
    disk.saves()
    disk.journal._close()
    (tmp_path / FILE).write_bytes(b"\xa5" * 20_000)
    disk.journal.put(step())
    disk.saves()
    assert disk.told() == [SET_ASIDE]
    assert disk.journal.wants_stretch == "gap"
    assert disk.calls() == []
    disk.journal.begin(stretch())
    disk.journal.put(step())
    disk.saves()
    assert disk.calls() == ["start", "advance"]
    assert disk.journal.wants_stretch is None


def test_what_is_no_journal_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match=r"journal.db: there is no journal$"):
        Reader(tmp_path)
    (tmp_path / FILE).write_bytes(b"\xa5" * 9_000)
    with pytest.raises(JournalError, match=r"journal.db: the journal cannot be read: file is not a database$"):
        Reader(tmp_path)


DYING = """
import sys
from leerie.config.running import Journal as Keeps
from leerie.journal import Step, Stretch
from leerie.now import Now
from leerie.runtime import log
from leerie.runtime.journal import Journal
journal = Journal(sys.argv[1], Keeps(14, 10**9), log.make("json"))
journal.begin(Stretch("start", Now(0, 0), "2026-03-02", "config", "boot", "1", {"attic": b"{}"}))
for count in range(1, 100_000):
    journal.put(Step("advance", Now(count, count)))
    if count % 500 == 0:
        journal._save(sys.argv[1])
        print(count, flush=True)
"""


def test_killed_in_the_midst_of_writing_what_was_committed_is_there(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", DYING, str(tmp_path)], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        committed = [int(process.stdout.readline()) for _ in range(20)][-1]
        process.kill()
    entries = list(Reader(tmp_path).entries())
    assert all(after[0] - before[0] == 1 for before, after in pairwise(entries))
    assert [entry.now.steady for _, entry in entries[1:]] == list(range(1, len(entries)))
    assert len(entries) > committed
    disk = Disk(tmp_path)
    disk.journal.begin(stretch())
    disk.saves()
    assert disk.told() == []
    assert list(Reader(tmp_path).stretches()) == [1, len(entries) + 1]
