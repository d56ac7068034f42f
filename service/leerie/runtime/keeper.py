"""Keeps records in the folder as long as it lets us, and says when it does not."""

from collections.abc import Callable, Mapping
from types import TracebackType
from typing import Self

from leerie.runtime.log import Log
from leerie.runtime.store import Store, StoreError

WITHOUT = "what must survive a restart is with the broker alone"


class Keeper:
    """Light matters more than memory: no failure of the folder stops the daemon."""

    def __init__(self, folder: str | None, log: Log) -> None:
        """`folder` None: nothing is kept here."""
        self._folder = folder
        self._log = log
        self._store: Store | None = None
        self._failing = False
        self._owed: dict[str, bytes] = {}
        """Each room's newest record that is not on the disk yet."""

    def __enter__(self) -> Self:
        if self._folder is not None:
            try:
                self._store = Store(self._folder)
            except StoreError as fault:
                self._log.tell("no records in the folder", why=str(fault), so=WITHOUT)
            else:
                if self._store.damaged is not None:
                    self._log.tell("the folder's records were damaged", set_aside=str(self._store.damaged))
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        if self._store is not None:
            self._store.close()

    def works(self) -> bool | None:
        """Records get to the folder; None: there is none for them. From any thread."""
        return None if self._folder is None else self._store is not None and not self._failing

    def read(self) -> dict[str, bytes]:
        """Every room's record, as far as there are any."""
        try:
            return self._store.read() if self._store is not None else {}
        except StoreError as fault:
            self._log.tell("no records in the folder", why=str(fault), so=WITHOUT)
            return {}

    def forget(self, room: str) -> None:
        """The room is no more."""
        self._owed.pop(room, None)
        if self._write(lambda store: store.forget(room)):
            self.keep(dict(self._owed))

    def keep(self, records: Mapping[str, bytes]) -> None:
        """On the disk when this returns, or told once that they are not; then they go with the next that are kept."""
        if records and self._store is not None:
            self._owed.update(records)
            if self._write(lambda store: store.write(self._owed)):
                self._owed.clear()

    def _write(self, write: Callable[[Store], None]) -> bool:
        """Whether it was."""
        if self._store is None:
            return False
        try:
            write(self._store)
        except StoreError as fault:
            if not self._failing:
                self._log.tell("records are not written to the folder", why=str(fault), so=WITHOUT)
            self._failing = True
        else:
            if self._failing:
                self._log.tell("records are written to the folder again")
            self._failing = False
        return not self._failing
