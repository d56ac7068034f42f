"""Words and payloads: what the controller knows as data, as people and other programs read it."""

from leerie.report.lines import note_fields
from leerie.report.payloads import room_state, sky
from leerie.report.words import because

__all__ = ["because", "note_fields", "room_state", "sky"]
