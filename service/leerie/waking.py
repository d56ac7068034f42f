"""How a room begins: from its record, or without one."""

import msgspec
from msgspec.structs import replace

from leerie import record as records
from leerie.course import Course
from leerie.daylight.calendar import Calendar
from leerie.daylight.here import Here
from leerie.daylight.outdoors import Outdoors
from leerie.now import Now
from leerie.occupancy.records import Occupancy, Place
from leerie.occupancy.turn import begin
from leerie.outlet.slot import Slot
from leerie.record import Record


class Awake(msgspec.Struct, frozen=True):
    """What a room begins with."""

    occupancy: Occupancy
    course: Course
    slots: dict[str, Slot]
    since: Now
    """Up to when all that time does has been done."""
    revision: int = 0
    here: Here | None = None
    outdoors: Outdoors | None = None


def wake(
    place: Place, calendar: Calendar, memory: bytes | None, boot: str, now: Now, *, clock_known: bool = True
) -> Awake:
    """Begin. A record that cannot be read is none. `clock_known`: the wall clock is known to be right."""
    found = records.decode(memory) if memory else None
    if found is None or found.room != place.room.name:
        if clock_known:
            course = Course(calendar, place.room.parts, now.wall)
        else:
            course = Course.unsure(calendar, place.room, now.wall, (None, None))
        return Awake(begin(place, course.holding.part, now), course, {}, now)
    found = records.carry_over(found, boot, now)
    then = min(found.at.wall, now.wall)
    known = (found.part, found.began)
    if clock_known:
        course = Course.resumed(calendar, place.room.parts, then, known)
    else:
        course = Course.unsure(calendar, place.room, then, known)
    return _revive(place, course, found, now)


def _revive(place: Place, course: Course, found: Record, now: Now) -> Awake:
    """Go on from a record; what the config has changed since shows at once."""
    return Awake(
        _occupancy(place, found, now), course, _slots(found), found.at, found.revision, found.here, found.outdoors
    )


def _occupancy(place: Place, found: Record, now: Now) -> Occupancy:
    fresh = begin(place, found.part, now)
    known = {name: found.occupancy.sensors.get(name, sensed) for name, sensed in fresh.sensors.items()}
    if not place.eyes:
        return replace(found.occupancy, sensors=known, state=fresh.state, untouched=False, blind=None, latch=None)
    latch, blind = found.occupancy.latch, found.occupancy.blind
    if latch is not None and (latch.sensor not in place.sensors or not place.room.enclosed):
        latch = None
    if not all(known[name].out for name in place.eyes):
        blind = None
    warned = _still_warned(place, found.occupancy, now)
    return replace(found.occupancy, sensors=known, latch=latch, blind=blind, warned=warned)


def _still_warned(place: Place, occupancy: Occupancy, now: Now) -> bool:
    """A grace that a reload has lengthened may have its warning ahead again."""
    rules = place.under(occupancy.under)
    if not occupancy.warned or rules.warn_before_ms is None:
        return False
    return now.steady >= occupancy.since.steady + rules.grace_ms - rules.warn_before_ms


def _slots(found: Record) -> dict[str, Slot]:
    """In a hands-off hold nothing that still waited goes out any more."""
    hold = found.occupancy.hold
    if hold is not None and hold.level is None:
        return {name: replace(slot, waiting=None) for name, slot in found.slots.items()}
    return found.slots
