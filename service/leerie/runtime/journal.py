"""The journal's own thread. The deciding one hands it immutable entries and never waits for it.

A disk that is full, slow or gone costs the journal and nothing else: entries wait, within bounds; what finds no room is
counted, and when there is room again a new stretch begins, which tells the gap.
"""

import sqlite3
import threading
import time
from collections import deque
from types import TracebackType
from typing import Literal, Self

from leerie.config import running
from leerie.journal import Entry, Noted, Step, Stretch
from leerie.messages import Message
from leerie.runtime.journal_file import JournalFile
from leerie.runtime.log import Log

EACH_S = 1.0
"""Written so often: a kill loses no more."""
RETRY_S = 10.0
LEAVE_S = 3.0
"""A clean stop waits no longer for the disk."""
MOST_WAITING = 8_000_000
"""So many bytes of the file wait for the disk; in memory they take about four times as much."""
STEP_BYTES = 60
NOTE_BYTES = 250
"""What a row takes in the file, roughly, besides payloads and records."""
STRETCHES = 8
"""A stretch that has grown to one so-manieth of what may be kept is followed by a new one, so that what is deleted for
want of room is never all there is."""


class Journal:
    """`put` and `wants_stretch` belong to the deciding thread."""

    def __init__(self, folder: str | None, keeps: running.Journal, log: Log) -> None:
        """`folder` None, or a journal that keeps no day: nothing is written."""
        self._folder = folder if keeps.days else None
        self._keeps = keeps
        self._log = log
        self._waiting: deque[Entry] = deque()
        self._put = self._done = 0
        """Bytes handed over, by the deciding thread; bytes dealt with, by the journal's. Each writes its own alone."""
        self._stretch_from = 0
        """`_put` when the stretch at hand began."""
        self._lost = 0
        self._broken = False
        """The file that the entries at hand began in is not the one that is written now."""
        self._file: JournalFile | None = None
        self._last: int | None = None
        """The newest entry's number in the file, as far as we know."""
        self._batch: list[Entry] = []
        self._failing = False
        self._try_at_s = 0.0
        self._over = threading.Event()
        self._thread: threading.Thread | None = None

    def __enter__(self) -> Self:
        if self._folder is not None:
            self._thread = threading.Thread(target=self._work, args=(self._folder,), name="journal", daemon=True)
            self._thread.start()
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self._over.set()
        if self._thread is not None:
            self._thread.join(LEAVE_S)

    @property
    def on(self) -> bool:
        return self._folder is not None

    def works(self) -> bool | None:
        """What is heard gets to the file; None: nothing is written. From any thread."""
        return not self._failing if self.on else None

    # ---- the deciding thread -----------------------------------------------------------------------------------------

    def put(self, entry: Step | Noted) -> None:
        """Hand over an entry. After one that found no room none is taken until a stretch begins."""
        if self._lost or self._put - self._done > MOST_WAITING:
            self._lost += isinstance(entry, Step)
            return
        self._put += _bytes(entry)
        self._waiting.append(entry)

    def begin(self, stretch: Stretch) -> None:
        """Hand over a stretch's beginning."""
        size = _bytes(stretch)
        if self._put + size - self._done > MOST_WAITING:
            self._lost += 1
            return
        self._put += size
        self._waiting.append(stretch)
        self._lost, self._broken, self._stretch_from = 0, False, self._put

    @property
    def lost(self) -> int:
        """So many entries were not taken since the last one that was."""
        return self._lost

    @property
    def wants_stretch(self) -> Literal["gap", "size"] | None:
        """Why the next entry should be a stretch's beginning."""
        if self._broken or (self._lost and self._put - self._done < MOST_WAITING // 2):
            return "gap"
        return "size" if self._put - self._stretch_from > self._keeps.most_bytes // STRETCHES else None

    # ---- the journal's thread ----------------------------------------------------------------------------------------

    def _work(self, folder: str) -> None:
        while not self._over.wait(EACH_S):
            self._save(folder)
        self._try_at_s = 0.0
        self._save(folder)
        self._close()

    def _save(self, folder: str) -> None:
        """Bring what waits to the disk; what fails is tried again later."""
        if time.monotonic() < self._try_at_s:
            return
        try:
            file = self._file = self._file or self._open(folder)
            self._take()
            if self._batch:
                file.write(self._batch)
                self._done += sum(map(_bytes, self._batch))
                begun = any(isinstance(entry, Stretch) for entry in self._batch)
                self._batch.clear()
                self._last = file.last
                self._make_room(file, begun=begun)
        except (OSError, sqlite3.Error) as fault:
            self._fail(fault)
        else:
            if self._failing:
                self._log.tell("the journal is written again")
            self._failing = False

    def _open(self, folder: str) -> JournalFile:
        file = JournalFile(folder)
        if file.set_aside is not None:
            self._log.tell("the journal was damaged or of another version", set_aside=str(file.set_aside))
        if self._last is not None and file.last != self._last:
            self._broken = True
        return file

    def _take(self) -> None:
        """Move what waits to the batch; a batch that failed comes first, and alone."""
        if not self._batch:
            self._batch.extend(self._waiting.popleft() for _ in range(len(self._waiting)))

    def _make_room(self, file: JournalFile, *, begun: bool) -> None:
        if begun:
            file.keep_days(self._keeps.days)
        while file.used_bytes() > self._keeps.most_bytes and file.drop_oldest():
            pass

    def _fail(self, fault: Exception) -> None:
        # Opened anew, a file that is damaged is seen to be, and one whose disk came back is found.
        self._close()
        self._try_at_s = time.monotonic() + RETRY_S
        if not self._failing:
            why = fault.strerror or str(fault) if isinstance(fault, OSError) else str(fault)
            self._log.tell("the journal is not written", why=why)
        self._failing = True

    def _close(self) -> None:
        if self._file is not None:
            self._file.close()
        self._file = None


def _bytes(entry: Entry) -> int:
    """What an entry takes in the file, roughly."""
    match entry:
        case Step(message=Message(topic, payload)):
            return STEP_BYTES + len(topic) + len(payload)
        case Step():
            return STEP_BYTES
        case Noted(notes):
            return NOTE_BYTES * len(notes)
        case Stretch(memory=memory):
            return STEP_BYTES + sum(map(len, memory.values()))
