"""What a room aims at, and when it looks again.

A room whose lamps move with daylight, or on the way between two day parts, may move them on a grid (the config's
`drift`). The work does not follow the grid: from the present and five minutes on it is worked out when the first lamp
has a visible step to go, and until then nobody looks. That it comes to the same as looking at every step of the grid
rests on three things: light that is not in a hurry gets to the same place however often it is looked at, within five
minutes targets move one way, and where they may turn (a blend's end, a reading's expiry, a latch) there is a look.
"""

from collections.abc import Callable, Iterator, Mapping

import msgspec
from msgspec.structs import replace

from leerie.config.building import Building
from leerie.daylight import here as heres
from leerie.daylight.calendar import Holding
from leerie.daylight.here import Here, Latch, Metered
from leerie.daylight.outdoors import Skies, Sky
from leerie.daylight.sky import cloud_factor
from leerie.now import MINUTE_MS, Now
from leerie.occupancy.records import Occupancy
from leerie.outlet.slot import LEVEL_STEP, Slot, differs
from leerie.reasons import SkyReason
from leerie.targets import illuminance
from leerie.targets.levels import REST_MS
from leerie.targets.room import Aim, RoomTargets
from leerie.targets.scenes import day_of

FAR_MS = 5 * MINUTE_MS
"""How far ahead a room looks."""


class Look(msgspec.Struct, frozen=True):
    """What was seen at one instant."""

    aim: Aim
    here: Here


class Aiming:
    """A room's aim, and the light that it goes by."""

    def __init__(self, building: Building, room: str, here: Here | None) -> None:
        self._targets = RoomTargets(building, room)
        self.aim: Aim | None = None
        self.due: int | None = None
        """The steady ms at which a room whose lamps move must look again; None: they do not."""
        self._blends = False
        """There is, or was a moment ago, a blend whose end the lamps have not been told."""
        self.looks_ahead = False
        """The look at hand was made at a step of the grid, and nobody waits for what comes of it."""
        self._room = building.rooms[room]
        self._fixtures = {name: building.fixtures[name] for name in self._room.fixtures}
        self._grid = building.service.drift_ms
        self._parts = building.parts
        self._here = here
        self._metered: Metered | None = None if here is None else here.metered
        self._anew = here is not None and not here.moving

    @property
    def kept(self) -> Here | None:
        """What of it is to be remembered over a restart."""
        moving = self.aim is None or self.aim.moving
        if self._here is None or not (moving or self._metered):
            return None
        return replace(self._here, metered=self._metered, moving=moving)

    def begin_anew(self) -> None:
        """Somebody came, asked, or ended a hold: the next look takes the light as it is."""
        self._anew = True

    def work_out(self, occupancy: Occupancy, holding: Holding, now: Now, skies: Skies) -> Aim:
        """Look now."""
        look = self._look(occupancy, holding, now, skies.at(now), anew=self._takes_newest)
        self._anew = False
        self.aim, self._here, self._metered = look.aim, look.here, look.here.metered
        self.due = None
        self._blends = self._blends or bool(look.aim.blending)
        return look.aim

    def blend_ended(self) -> bool:
        """Has the last blend come to its end since this was last asked? Then the lamps are told where it ended."""
        ended = self._blends and self.aim is not None and not self.aim.blending
        self._blends = self._blends and not ended
        return ended

    def here(self, now: Now, skies: Skies) -> Here:
        """The light as the room goes by it now."""
        return self._moved(now, skies.at(now), anew=self._takes_newest)

    def restored(self, occupancy: Occupancy, holding: Holding, now: Now, skies: Skies) -> Aim:
        """What the lamps are brought to before hands go off."""
        day = day_of(holding, self._parts, now.wall)
        return self._targets.restored(occupancy, day, self.here(now, skies))

    def lit_scene(self, holding: Holding, now: Now, skies: Skies) -> Aim:
        """What an escape route is left with at a clean stop."""
        return self._targets.lit_scene(day_of(holding, self._parts, now.wall), self.here(now, skies))

    def foresee(
        self, slots: Mapping[str, Slot], occupancy: Occupancy, holding: Holding, now: Now, skies: Skies
    ) -> None:
        """Know when to look again. A decision looks at the very next step of the grid, and only that look looks ahead:
        who has just come in does not wait for it.
        """
        if self.due is None and self.aim is not None and (self.aim.moving or self._blends):
            if self.looks_ahead and self.aim.moving:
                self._look_ahead(slots, occupancy, holding, now, skies)
            else:
                self.due = (now.steady // self._grid + 1) * self._grid
        self.looks_ahead = False

    def _look_ahead(
        self, slots: Mapping[str, Slot], occupancy: Occupancy, holding: Holding, now: Now, skies: Skies
    ) -> None:
        """Find the first step of the grid at which a lamp has a visible step to go, or at which to look in any case."""
        if self._here is None:
            return
        here = self._here

        def at(step: int) -> Now:
            return now.at((now.steady // self._grid + step) * self._grid)

        def eventful(step: int) -> bool:
            then = at(step)
            look = self._look(occupancy, holding, then, skies.at(then), anew=False)
            return self._tells(look, slots)

        far = self._farthest(now, skies, at)
        hurries = heres.hurries(here, skies.at(now), skies.at(at(far)), self._room, at(far))
        if hurries or here.metered != self._metered:
            far = 1  # trial: light in a hurry
        elif far > 1 and eventful(far):
            near = 0
            while far - near > 1:
                middle = (near + far) // 2
                near, far = (near, middle) if eventful(middle) else (middle, far)  # trial: looked ahead
        self.due = at(far).steady

    def sky_changes(self, now: Now, skies: Skies) -> None:
        """A feed is about to speak: the light up to the last step of the grid is as it was, and the next step looks."""
        if self.due is None or self._here is None:
            return
        last = now.at(now.steady // self._grid * self._grid)
        if last.steady > self._here.at.steady:
            self._here = self._moved(last, skies.at(last), anew=False)
        self.due = min(self.due, last.steady + self._grid)

    def clock_steps(self, now: Now) -> None:
        """The wall clock was set: what was foreseen is void, and the sun stands elsewhere from this step on."""
        if self.due is None or self._here is None:
            return
        last = now.at(now.steady // self._grid * self._grid)
        self._here = replace(self._here, at=last)
        self.due = min(self.due, last.steady + self._grid)

    def read(self, lux: float, occupancy: Occupancy, slots: Mapping[str, Slot], now: Now, skies: Skies) -> None:
        """The room's meter spoke. It moves no lamp by itself."""
        meter = self._room.meter
        hold = occupancy.hold
        hands_off = occupancy.untouched or (hold is not None and hold.level is None)
        if meter is None or hands_off or self._still_fading(slots, now):
            return
        told = [(self._fixtures[name], slot.told.level) for name, slot in slots.items() if slot.told is not None]
        lamps = illuminance.together(self._room, told)
        step = (
            illuminance.together(self._room, ((lamp, level + LEVEL_STEP) for lamp, level in told if level > 0)) - lamps
        )
        daylight = heres.daylight_read(lux, lamps, meter)
        self.sky_changes(now, skies)
        going_by = self._here.daylight if self.due is not None and self._here is not None else None
        self._metered = heres.heard(self._metered, daylight, meter, now, from_=going_by, least=heres.METER_STEPS * step)

    # ---- looking -----------------------------------------------------------------------------------------------------

    @property
    def _takes_newest(self) -> bool:
        """What nobody has seen move need not move slowly."""
        return self._anew or self._here is None or (self.aim is not None and not self.aim.moving)

    def _look(self, occupancy: Occupancy, holding: Holding, now: Now, sky: Sky, *, anew: bool) -> Look:
        day = day_of(holding, self._parts, now.wall)
        here = self._moved(now, sky, anew=anew)
        here = replace(here, latches=self._targets.latches(occupancy, day, here, now))
        aim = self._targets.aim(occupancy, day, here)
        if aim.moving:
            aim = replace(aim, reasons=(*aim.reasons, _sky_reason(sky, here)))
        return Look(aim, here)

    def _moved(self, now: Now, sky: Sky, *, anew: bool) -> Here:
        if anew or self._here is None:
            return heres.newest(sky, self._room, self._metered, now)
        return heres.moved(replace(self._here, metered=self._metered), sky, self._room, now)

    def _tells(self, look: Look, slots: Mapping[str, Slot]) -> bool:
        """Has a lamp a visible step to go, or is something else different that the next look hangs on?"""
        if self._here is not None and _ageless(look.here.latches) != _ageless(self._here.latches):
            return True
        for target in look.aim.targets or ():
            slot = slots[target.lamp]
            newest = slot.waiting or slot.told
            if newest is None or differs(newest, target, gliding=True):
                return True
        return False

    def _farthest(self, now: Now, skies: Skies, at: Callable[[int], Now]) -> int:
        """How many steps of the grid ahead there is surely nothing where targets might turn but at that step itself."""
        most = max(1, FAR_MS // self._grid)
        last = at(most).steady
        for turn, before in self._turns(now, skies):
            if now.steady < turn <= last:
                step = -(-turn // self._grid) - now.steady // self._grid
                most = min(most, max(1, step - 1 if before else step))
                last = at(most).steady
        return most

    def _turns(self, now: Now, skies: Skies) -> Iterator[tuple[int, bool]]:
        """Steady ms from which things may go another way, and whether the step before needs a look, too."""
        for ends in self.aim.blending if self.aim is not None else ():
            yield now.steady + -(-(ends - now.wall) // 1_000), False
        for expiry in skies.expiries():
            yield expiry, True
        meter = self._room.meter
        if meter is not None and self._metered is not None:
            yield self._metered.at.steady + meter.expires_ms, True
        for latch in (self._here.latches if self._here is not None else {}).values():
            if latch.since is not None and not latch.off:
                yield latch.since.steady + REST_MS, False

    def _still_fading(self, slots: Mapping[str, Slot], now: Now) -> bool:
        """Are there lamps whose newest light the meter may not have seen yet?"""
        for name, slot in slots.items():
            if slot.told is not None:
                fixture = self._fixtures[name]
                fade = max(fixture.fade_up_ms, fixture.fade_down_ms)
                if now.steady - slot.told.at.steady < fade + heres.METER_REST_MS:
                    return True
        return False


def _ageless(latches: Mapping[str, Latch]) -> dict[str, tuple[bool, bool]]:
    return {key: (latch.since is None, latch.off) for key, latch in latches.items()}


def _sky_reason(sky: Sky, here: Here) -> SkyReason:
    return SkyReason(
        sky.elevation,
        sky.azimuth,
        sky.clear,
        sky.cover,
        cloud_factor(sky.cover),
        sky.outdoor,
        sky.source,
        sky.diffuse,
        here.outdoor,
    )
