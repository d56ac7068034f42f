"""A note as one line of the log."""

from datetime import UTC, tzinfo
from typing import Any

from msgspec import structs

from leerie.notes import Decided, Faulted, Note, Recovered
from leerie.reasons import LampReason
from leerie.report.figures import timestamp
from leerie.report.words import because

_RENAMED = {"event": "by", "level": "at_level"}
"""Fields whose names a log line needs for itself."""


def note_fields(note: Note, zone: tzinfo = UTC) -> tuple[str, dict[str, Any]]:
    """What happened, and its fields; those that say nothing are left out. Times are those of `zone`."""
    fields: dict[str, Any]
    match note:
        case Decided():
            levels = {lamp.lamp: round(lamp.level, 3) for lamp in note.reasons if isinstance(lamp, LampReason)}
            fields = {"room": note.room, "cause": note.cause, "state": note.state, "day_part": note.part}
            fields |= {"levels": levels, "because": because(note.reasons, zone)}
        case Faulted() | Recovered():
            fields = {"room": note.room, **structs.asdict(note.fault), "since": timestamp(note.fault.since, zone)}
        case _:
            # The line has its own time.
            fields = {_RENAMED.get(name, name): value for name, value in structs.asdict(note).items() if name != "at"}
    return str(note.__struct_config__.tag), {name: value for name, value in fields.items() if value not in (None, ())}
