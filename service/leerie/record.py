"""One room's record: all that a restart needs, as one value.

Records store starts, not ends. Between two runs a start is carried over by the steady clock if it is still the same
one (the same boot), else by the wall clock if that did not go back, else it becomes the present: what was lit stays
lit a little longer.
"""

from collections.abc import Callable, Iterator
from typing import Annotated, TypeVar, cast

import msgspec

from leerie.daylight.here import Here
from leerie.daylight.outdoors import Outdoors
from leerie.now import DAY_MS, Now, Wall
from leerie.occupancy.records import Occupancy
from leerie.outlet.slot import Slot

FORMAT = 1
MOST_BYTES = 2**20
"""A record of a hundred lamps has a fiftieth of it."""
PLAUSIBLE_MS = 3_650 * DAY_MS
"""A clock that says more than ten years have passed since the record is not believed."""
OLDEST_MS = 10 * PLAUSIBLE_MS
"""Nothing in a record began longer before it."""

T = TypeVar("T")


class Record(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a room remembers."""

    room: str
    revision: Annotated[int, msgspec.Meta(ge=1, le=2**62)]
    """One higher than any seen for its room; nobody compares times."""
    boot: str
    """Names the run of the steady clock; empty where it has no name."""
    at: Now
    """When it was written."""
    occupancy: Occupancy
    slots: dict[str, Slot]
    part: str | None = None
    began: Wall | None = None
    """When that day part began, wall clock µs UTC."""
    here: Here | None = None
    """The light outdoors as the room goes by it, while its lamps move with it."""
    outdoors: Outdoors | None = None
    """What was last heard of the light outdoors, with `here`."""
    format: int = FORMAT


_decoder = msgspec.json.Decoder(Record)
_encoder = msgspec.json.Encoder()


def encode(record: Record) -> bytes:
    return _encoder.encode(record)


def decode(data: bytes) -> Record | None:
    """The record in these bytes, or None where there is none that can be used: anybody may have written them."""
    if len(data) > MOST_BYTES:
        return None
    try:
        record = _decoder.decode(data)
    except (ValueError, RecursionError):  # msgspec's own errors, and text that is no UTF-8
        return None
    return record if record.format == FORMAT and _in_order(record) else None


def _in_order(record: Record) -> bool:
    """Whether all that is in it came before it, none of it an age ago, and every presence began at some time."""
    at = record.at.steady
    dated = all(sensed.first and sensed.last for sensed in record.occupancy.sensors.values() if sensed.said)
    return dated and all(at - OLDEST_MS <= instant.steady <= at for instant in _instants(record))


def _instants(value: object) -> Iterator[Now]:
    if isinstance(value, Now):
        yield value
    elif isinstance(value, msgspec.Struct):
        for name in value.__struct_fields__:
            yield from _instants(getattr(value, name))
    elif isinstance(value, dict | tuple):
        for item in value.values() if isinstance(value, dict) else value:
            yield from _instants(item)


def written(data: bytes) -> int | None:
    """When the record in these bytes was written, by the wall clock of then, µs UTC."""
    record = decode(data)
    return None if record is None else record.at.wall


def choose(folder: bytes | None, broker: bytes | None) -> bytes | None:
    """Of the folder's record and the broker's the one with the higher revision; at a tie the folder's."""
    known = [(record.revision, data) for data in (folder, broker) if data and (record := decode(data)) is not None]
    return max(known, key=lambda pair: pair[0])[1] if known else None


def carry_over(record: Record, boot: str, now: Now) -> Record:
    """The record as of now: every instant in it stated on the steady clock that runs now."""
    if record.boot and record.boot == boot and 0 <= now.steady - record.at.steady <= PLAUSIBLE_MS:
        return record  # trial: the same boot
    passed_ms = (now.wall - record.at.wall) // 1_000
    if 0 <= passed_ms <= PLAUSIBLE_MS:
        shift = now.steady - (record.at.steady + passed_ms)
        return _restate(record, lambda instant: Now(instant.steady + shift, instant.wall))  # trial: another boot
    return _restate(record, lambda instant: Now(now.steady, instant.wall))  # trial: another boot, and no clock


def _restate(value: T, change: Callable[[Now], Now]) -> T:
    """The same value with every instant in it changed."""
    if isinstance(value, Now):
        return cast("T", change(value))
    if isinstance(value, msgspec.Struct):
        fields = {name: _restate(getattr(value, name), change) for name in value.__struct_fields__}
        return cast("T", type(value)(**fields))
    if isinstance(value, dict):
        return cast("T", {key: _restate(item, change) for key, item in value.items()})
    if isinstance(value, tuple):
        return cast("T", tuple(_restate(item, change) for item in value))
    return value
