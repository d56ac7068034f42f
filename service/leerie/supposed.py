"""A room as it would be: at a moment, in a state of occupancy, under a sky that somebody supposes.

It is worked out the way a running room does it, but for what only time brings: light that follows slowly, lamps that
rest before daylight puts them out, and what people asked for.
"""

from collections.abc import Iterable, Iterator, Mapping

import msgspec
from msgspec.structs import replace

from leerie.aiming import Aiming
from leerie.config.building import Building, Feed
from leerie.daylight.calendar import Calendar
from leerie.daylight.outdoors import Outdoors, Reading, Skies
from leerie.now import MINUTE_MS, Now
from leerie.occupancy.records import Occupancy
from leerie.occupancy.table import State
from leerie.outlet.outlet import Outlet, Window
from leerie.reasons import LampReason, PartReason, Sent
from leerie.targets.room import Target
from leerie.view import sky_view
from leerie.views import LampView, RoomView, SkyView

STATES = {
    "vacant": State.VACANT,
    "arriving": State.ARRIVING,
    "occupied": State.OCCUPIED,
    "grace": State.GRACE,
}
"""What may be supposed of who is there; grace is without its warning."""


class Supposed(msgspec.Struct, frozen=True):
    """What would be shown, and what would be sent."""

    sky: SkyView
    room: RoomView
    sent: Mapping[str, Sent]
    """By lamp."""


def suppose(
    building: Building, name: str, state: State, wall: int, *, cloud: float | None = None, lux: float | None = None
) -> Supposed:
    """The room at `wall` (µs UTC), nobody holding it. `cloud` 0…1 and `lux` outdoors count as just read, whether or not
    the config has a feed for them; None: not known.
    """
    building = _with_feeds(building)
    now = Now(0, wall)
    skies = Skies(building, Outdoors(_reading(cloud, now), _reading(lux, now)))
    calendar = Calendar(building)
    holding = calendar.holding(building.rooms[name].parts, wall)
    aiming = Aiming(building, name, None)
    aim = aiming.work_out(Occupancy(state=state, since=now, under=holding.part), holding, now, skies)
    targets = aim.targets or ()
    lamps = tuple(Outlet(building, name, {}, Window()).reasons(targets))
    room = RoomView(
        room=name,
        state=state.shown,
        occupancy=state.shown,
        since=wall,
        until=None,
        hold=None,
        asked=None,
        bias=0.0,
        part=holding.part,
        outdoor=aiming.here(now, skies).outdoor,
        fixtures=tuple((target.lamp, LampView(target.level, target.kelvin, target.xy)) for target in targets),
        because=(PartReason(holding.part, holding.began), *aim.reasons, *lamps),
        faults=(),
        present=state in (State.ARRIVING, State.OCCUPIED),
    )
    part = calendar.holding(tuple(building.parts), wall).part
    return Supposed(sky_view(skies.at(now), part, now), room, dict(_by_lamp(lamps)))


def sent(building: Building, name: str, lamps: Mapping[str, LampView]) -> dict[str, Sent]:
    """What goes to the room's lamps for these levels and whites. Raises ValueError where one does not suit its lamp."""
    targets = [
        Target(lamp, told.level, told.kelvin, LampReason(lamp, (), told.level, told.kelvin, switched=False), told.xy)
        for lamp, told in lamps.items()
    ]
    return dict(_by_lamp(Outlet(building, name, {}, Window()).reasons(targets)))


def _by_lamp(reasons: Iterable[LampReason]) -> Iterator[tuple[str, Sent]]:
    return ((reason.lamp, reason.sent) for reason in reasons if reason.sent is not None)


def _reading(value: float | None, now: Now) -> Reading | None:
    return None if value is None else Reading(value, now)


def _with_feeds(building: Building) -> Building:
    """Somebody who supposes a reading needs no topic that brings it."""
    daylight = building.daylight
    cloud = daylight.cloud or Feed("", None, MINUTE_MS, "fraction")
    outdoor = daylight.outdoor or Feed("", None, MINUTE_MS, "lux")
    return replace(building, daylight=replace(daylight, cloud=cloud, outdoor=outdoor))
