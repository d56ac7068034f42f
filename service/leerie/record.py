"""One room's record: all that a restart needs, as one value.

Records store starts, not ends. Between two runs a start is carried over by the steady clock if it is still the same
one (the same boot), else by the wall clock if that did not go back, else it becomes the present: what was lit stays
lit a little longer.
"""

from collections.abc import Callable
from typing import TypeVar, cast

import msgspec

from leerie.daylight.here import Here
from leerie.now import DAY_MS, Now
from leerie.occupancy.records import Occupancy
from leerie.outlet.slot import Slot

FORMAT = 1
PLAUSIBLE_MS = 3_650 * DAY_MS
"""A wall clock that says more than ten years have passed since the record is not believed."""

T = TypeVar("T")


class Record(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a room remembers."""

    room: str
    revision: int
    """One higher than any seen for its room; nobody compares times."""
    boot: str
    """Names the run of the steady clock; empty where it has no name."""
    at: Now
    """When it was written."""
    occupancy: Occupancy
    slots: dict[str, Slot]
    part: str | None = None
    began: int | None = None
    """When that day part began, wall clock µs UTC."""
    here: Here | None = None
    """The light outdoors as the room goes by it, while its lamps move with it."""
    format: int = FORMAT


_decoder = msgspec.json.Decoder(Record)
_encoder = msgspec.json.Encoder()


def encode(record: Record) -> bytes:
    return _encoder.encode(record)


def decode(data: bytes) -> Record | None:
    """The record in these bytes, or None where there is none that can be used."""
    try:
        record = _decoder.decode(data)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    return record if record.format == FORMAT and record.revision > 0 else None


def choose(folder: bytes | None, broker: bytes | None) -> bytes | None:
    """Of the folder's record and the broker's the one with the higher revision; at a tie the folder's."""
    known = [(record.revision, data) for data in (folder, broker) if data and (record := decode(data)) is not None]
    return max(known, key=lambda pair: pair[0])[1] if known else None


def carry_over(record: Record, boot: str, now: Now) -> Record:
    """The record as of now: every instant in it stated on the steady clock that runs now."""
    if record.boot and record.boot == boot and record.at.steady <= now.steady:
        return record
    passed_ms = (now.wall - record.at.wall) // 1_000
    if 0 <= passed_ms <= PLAUSIBLE_MS:
        shift = now.steady - (record.at.steady + passed_ms)
        return _restate(record, lambda instant: Now(instant.steady + shift, instant.wall))
    return _restate(record, lambda instant: Now(now.steady, instant.wall))


def _restate(value: T, change: Callable[[Now], Now]) -> T:
    """The same value with every instant in it changed."""
    if isinstance(value, Now):
        return cast("T", change(value))
    if isinstance(value, msgspec.Struct):
        fields = {name: _restate(getattr(value, name), change) for name in value.__struct_fields__}
        return cast("T", type(value)(**fields))
    if isinstance(value, dict):
        return cast("T", {key: _restate(item, change) for key, item in value.items()})
    return value
