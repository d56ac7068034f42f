"""When a room's record is written.

Wishes at once, moves of occupancy at once but under chatter once a second, and what only grows older once a minute.
"""

from msgspec.structs import replace

from leerie.now import MINUTE_MS, SECOND_MS, Now
from leerie.occupancy.records import Occupancy, Sensed
from leerie.outlet.slot import Slot
from leerie.record import Record

BURST = 5
"""So many moves in a row are no chatter yet: what was shown of them is not lost to a kill."""


class Saving:
    """The record as last written, and when it is due again."""

    def __init__(self) -> None:
        self._spent = 0
        """Steady ms up to which the writes so far are spread, one a second."""
        self.saved: Record | None = None
        self.due: int | None = None
        """Steady ms; None: nothing to write."""

    def forget(self) -> None:
        """What was written may be lost: write it again."""
        self.saved = None

    def offer(self, record: Record, now: Now) -> bool:
        """Is this record to be written now? If so it is the one last written."""
        due = self._due(record, now)
        if due is None or due > now.steady:
            self.due = due
            return False
        self.saved, self.due = record, None
        self._spent = min(max(self._spent, now.steady) + SECOND_MS, now.steady + BURST * SECOND_MS)
        return True

    def _due(self, record: Record, now: Now) -> int | None:
        saved = self.saved
        if saved is not None and _all(saved) == _all(record):
            return None
        if saved is None or _wishes(saved.occupancy) != _wishes(record.occupancy):
            return now.steady
        if _moves(saved) != _moves(record):
            return max(now.steady, self._spent - (BURST - 1) * SECOND_MS)
        if _slow(saved) != _slow(record):
            return saved.at.steady + MINUTE_MS
        return None


def _wishes(occupancy: Occupancy) -> tuple[object, ...]:
    return occupancy.hold, occupancy.asked, occupancy.bias


def _slow(record: Record) -> tuple[object, ...]:
    return record.occupancy, record.slots, record.here, record.outdoors


def _all(record: Record) -> tuple[object, ...]:
    return record.part, record.began, *_slow(record)


def _moves(record: Record) -> tuple[object, ...]:
    """The record without its ages and without the levels that glide."""
    return (
        replace(record.occupancy, sensors={}),
        tuple(_ageless(sensed) for sensed in record.occupancy.sensors.values()),
        tuple(_touched(slot) for slot in record.slots.values()),
        record.part,
        record.began,
    )


def _ageless(sensed: Sensed) -> Sensed:
    return replace(sensed, heard=None, last=None)


def _touched(slot: Slot) -> tuple[bool, bool]:
    return slot.told is not None, slot.told is not None and slot.told.level > 0
