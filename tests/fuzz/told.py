"""What a controller hands over, put into words."""

import json
from functools import cache
from zoneinfo import ZoneInfo

from leerie import report
from leerie.messages import Outcome

from .house import building


def can_be_told(outcome: Outcome) -> None:
    zone = local_zone()
    for view in outcome.rooms:
        json.loads(report.room_state(view, zone))
    if outcome.sky is not None:
        json.loads(report.sky(outcome.sky, zone))
    for note in outcome.notes:
        report.note_fields(note, zone)


@cache
def local_zone() -> ZoneInfo:
    return ZoneInfo(building().site.timezone)
