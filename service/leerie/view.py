"""A room and the sky as the world sees them, made of the core's own values."""

from collections.abc import Mapping

from msgspec.structs import replace

from leerie.daylight.calendar import Holding
from leerie.daylight.outdoors import Sky
from leerie.notes import Fault, Faulted, Note, Recovered
from leerie.now import Now
from leerie.occupancy import reasons, timers
from leerie.occupancy.records import Hold
from leerie.occupancy.timers import Timer
from leerie.occupancy.turn import Turn
from leerie.outlet.slot import Slot
from leerie.reasons import PartReason, Reason
from leerie.views import HoldView, LampView, RoomView, SkyView


def room_view(turn: Turn, holding: Holding, slots: Mapping[str, Slot], outdoor: float, now: Now) -> RoomView:
    """The room now, so far without the reasons of its light. `outdoor`: lx as the room goes by it."""
    occupancy = turn.occupancy
    held = _hold_view(occupancy.hold, now)
    hands_off = occupancy.hold is not None and occupancy.hold.level is None
    told = tuple((name, _lamp_view(slot)) for name, slot in slots.items())
    return RoomView(
        room=turn.place.room.name,
        state="hold" if held is not None else occupancy.state.shown,
        occupancy=occupancy.state.shown,
        since=occupancy.since.wall if occupancy.hold is None else occupancy.hold.since.wall,
        until=held.until if held is not None else _until(turn, now),
        hold=held,
        asked=None if occupancy.asked is None else ("light" if occupancy.asked.light else "dark"),
        bias=occupancy.bias.bias if occupancy.bias is not None else 0.0,
        part=holding.shown,
        outdoor=outdoor,
        fixtures=None if hands_off else told,
        because=because(turn, holding),
        faults=reasons.faults(occupancy, turn.place),
        present=turn.kept(now),
        sensors_present=tuple(name for name in turn.place.eyes if occupancy.sensors[name].present),
        told=told,
    )


class Face:
    """What the world was last shown of a room, so that it is shown again only when there is news."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.speak = True
        """Show the room at the next occasion, news or not: somebody waits for an answer."""
        self._faults = faults
        self._shown: object = None
        self._made_of: object = None

    def made_anew(self, *made_of: object) -> bool:
        """Whether there can be news in a view that is made of this: else it is as it was, and need not be made."""
        before, self._made_of = self._made_of, made_of
        return self.speak or made_of != before

    def news(self, turn: Turn, view: RoomView) -> RoomView | None:
        """The view if it shows anything new; daylight alone, and what follows from it, is no news."""
        shown = (
            replace(
                view,
                outdoor=0.0,
                until=None,
                hold=None,
            ),
            timers.end_of_state(turn),
            turn.occupancy.hold,
        )
        if not self.speak and shown == self._shown:
            return None
        self.speak, self._shown = False, shown
        return view

    def faults(self, room: str, after: tuple[Fault, ...]) -> list[Note]:
        """The faults that have come and gone since it was last asked."""
        before, self._faults = self._faults, after
        gone = [Recovered(room, fault) for fault in before if fault not in after]
        return [*gone, *(Faulted(room, fault) for fault in after if fault not in before)]


def because(turn: Turn, holding: Holding, *why: Reason) -> tuple[Reason, ...]:
    """Why the room is as it is: its state, its day part, then everything else."""
    return (reasons.state_reason(turn), PartReason(holding.part, holding.began, holding.stand_in), *why)


def sky_view(sky: Sky, part: str | None, now: Now) -> SkyView:
    """The sky now; `part`: the day part of the building that began last of all."""
    return SkyView(now.wall, part, sky.elevation, sky.azimuth, sky.cloud, sky.outdoor, sky.diffuse, sky.source)


def _lamp_view(slot: Slot) -> LampView | None:
    return None if slot.told is None else LampView(slot.told.level, slot.told.kelvin, slot.told.xy)


def _hold_view(hold: Hold | None, now: Now) -> HoldView | None:
    if hold is None:
        return None
    until = now.at(hold.since.steady + hold.ends).wall if isinstance(hold.ends, int) else None
    return HoldView(hold.since.wall, until, hold.ends, hold.level, hold.kelvin, hold.by)


def _until(turn: Turn, now: Now) -> int | None:
    end: Timer | None = timers.end_of_state(turn)
    return None if end is None else now.at(end.due).wall
