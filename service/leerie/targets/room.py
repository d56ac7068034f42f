"""What every lamp of a room should be: a pure function of occupancy, day, and the light as the room goes by it."""

from collections.abc import Iterable

import msgspec
from msgspec.structs import replace

from leerie.colour import Chromaticity
from leerie.config.building import Building, Fixture, Room
from leerie.config.scenes import Scene, Value
from leerie.daylight.here import Here, Latch
from leerie.now import Now
from leerie.occupancy.records import Hold, Occupancy
from leerie.occupancy.table import State
from leerie.reasons import AskReason, Blended, Held, HoldReason, LampReason, Reason, Step, Unnamed, UntouchedReason
from leerie.targets import levels
from leerie.targets.levels import Setting, key, latched, level_of, warned, work_out
from leerie.targets.scenes import (
    Choice,
    Day,
    Glide,
    candidates_for_light,
    choose,
    lights,
    moves,
    scene_of,
    vacant_scene,
)
from leerie.targets.whites import Shade, Wanted, between, shade


class Target(msgspec.Struct, frozen=True):
    """What one lamp should be."""

    lamp: str
    level: float
    kelvin: int | None
    reason: LampReason
    xy: Chromaticity | None = None
    """A colour instead of a white."""


class Aim(msgspec.Struct, frozen=True):
    """What a room's lamps should be."""

    targets: tuple[Target, ...] | None
    """None: hands off, or not yet touched."""
    reasons: tuple[Reason, ...]
    """Why this scene; the lamps' own reasons stand in the targets."""
    moving: bool = False
    """The targets change with daylight or on the way between two day parts."""
    blending: tuple[int, ...] = ()
    """When the blends under way end, wall clock µs UTC."""


class Side(msgspec.Struct, frozen=True):
    """What one day part gives a lamp, before presence and warning have their share."""

    steps: tuple[Step, ...]
    level: float
    shade: Shade


class RoomTargets:
    """A room's share of the building, ready to answer."""

    def __init__(self, building: Building, name: str) -> None:
        self.room: Room = building.rooms[name]
        self._building = building
        self._lamps: tuple[Fixture, ...] = tuple(building.fixtures[lamp] for lamp in self.room.fixtures)

    def aim(self, occupancy: Occupancy, day: Day, here: Here) -> Aim:
        """What the lamps should be now."""
        if occupancy.untouched:
            return Aim(None, (UntouchedReason(),))
        hold = occupancy.hold
        if hold is None:
            return self._automatic(occupancy, day, here)
        why = HoldReason(hold.by, hold.since.wall, hold.level, hold.kelvin)
        if hold.level is None:
            return Aim(None, (why,))
        return self._held(hold, hold.level, why, day, here)

    def restored(self, occupancy: Occupancy, day: Day, here: Here) -> Aim:
        """What the lamps are brought to before hands go off: the scene without warning; an escape route's lit scene."""
        if self.room.egress:
            return self.lit_scene(day, here)
        bare = replace(occupancy, hold=None, warned=False)
        return self._automatic(bare, day, here)

    def lit_scene(self, day: Day, here: Here) -> Aim:
        """What an escape route is left with when hands go off and at a clean stop."""
        return self._show(scene_of(self.room, day), 0.0, replace(day, glides=()), here)

    def latches(self, occupancy: Occupancy, day: Day, here: Here, now: Now) -> dict[str, Latch]:
        """The latches of the scenes that the room shows, after this look."""
        if occupancy.untouched or occupancy.hold is not None:
            return {}
        choice = self._choice(occupancy, day, here)
        bias = self._bias(occupancy) if choice.biased else 0.0
        found: dict[str, Latch] = {}
        asked = occupancy.asked is not None and occupancy.asked.light and occupancy.state is not State.VACANT
        others = candidates_for_light(self.room, day) if asked else ()
        for name, scene in (*self._in_play(choice, day), *others):
            setting = self._setting(here, bias, choice)
            steps = work_out(scene, name, self.room, self._lamps, setting)
            for lamp in self._lamps:
                value = scene.get(lamp.name)
                place = key(name, lamp)
                latch = None if value is None else latched(value, steps[lamp.name], here.latches.get(place), now)
                if latch is not None:
                    found[place] = latch
        return found

    def _in_play(self, choice: Choice, day: Day) -> Iterable[tuple[str, Scene]]:
        yield choice.name, choice.scene
        for glide in self._glides(choice, day):
            yield glide.earlier, self.room.scenes.get(glide.earlier, {})

    # ---- automation --------------------------------------------------------------------------------------------------

    def _automatic(self, occupancy: Occupancy, day: Day, here: Here) -> Aim:
        choice = self._choice(occupancy, day, here)
        asked = occupancy.asked
        bias = self._bias(occupancy)
        if asked is None or occupancy.state is State.VACANT:
            return self._show(choice, bias, day, here)
        why = AskReason(asked.light, asked.since.wall, choice.name if choice.asked else None)
        shown = self._show(choice, bias, day, here, (why,))
        # Which scene brings light may hang on daylight even where the one that does now stands still.
        choosing = asked.light and any(moves(scene) for _, scene in candidates_for_light(self.room, day))
        return replace(shown, moving=shown.moving or choosing)

    def _choice(self, occupancy: Occupancy, day: Day, here: Here) -> Choice:
        setting = Setting(here, self._building.daylight, self._bias(occupancy), never_dark=self.room.egress)

        def lit(name: str, scene: Scene) -> bool:
            steps = work_out(scene, name, self.room, self._lamps, setting)
            return any(level_of(found, switched=False) > 0 for found in steps.values())

        return choose(self.room, occupancy, day, lit)

    def _show(self, choice: Choice, bias: float, day: Day, here: Here, why: tuple[Reason, ...] = ()) -> Aim:
        setting = self._setting(here, bias if choice.biased else 0.0, choice)
        glides = self._glides(choice, day)
        warn = self.room.rules_in(day.part).warn_level if choice.warned else 1.0
        sides = self._sides(choice.name, choice.scene, day.part, setting, partial=choice.partial)
        if glides:
            sides = self._blended(sides, glides, setting, partial=choice.partial)
        targets = tuple(
            self._target(lamp, (*side.steps, *warned(side.level, lamp, warn)), side.shade)
            for lamp, side in zip(self._lamps, sides, strict=True)
        )
        moving = bool(glides) or moves(choice.scene)
        return Aim(targets, why, moving, tuple(glide.ends for glide in glides))

    def _setting(self, here: Here, bias: float, choice: Choice) -> Setting:
        return Setting(here, self._building.daylight, bias, never_dark=self.room.egress or choice.never_dark)

    def _bias(self, occupancy: Occupancy) -> float:
        bias = occupancy.bias.bias if occupancy.bias is not None else 0.0
        return max(0.0, bias) if self.room.egress else bias

    def _glides(self, choice: Choice, day: Day) -> tuple[Glide, ...]:
        """The blends that the lamps take part in: those of the part's own scene. Who has asked for light does not wait
        for it to come up out of a dark part.
        """
        if choice.name != day.part:
            return ()
        if not choice.asked:
            return day.glides
        dark = (place for place, glide in enumerate(day.glides) if not self._could_light(glide.earlier))
        return day.glides[: next(dark, None)]

    def _could_light(self, part: str) -> bool:
        return any(lights(value) for value in self.room.scenes.get(part, {}).values())

    def _sides(self, name: str, scene: Scene, part: str | None, setting: Setting, *, partial: bool) -> tuple[Side, ...]:
        """What a scene gives each lamp; `part`: whose white holds where the scene says nothing, and whose share of the
        scene presence alone brings, where it is `partial`.
        """
        found = work_out(scene, name, self.room, self._lamps, setting)
        auto_on = self.room.rules_in(part).auto_on if partial else 1.0
        sides = []
        for lamp in self._lamps:
            steps, switched = found[lamp.name], lamp.kind == "switched"
            steps = (*steps, *levels.partial(level_of(steps, switched=switched), lamp, auto_on))
            tint = shade(lamp, self._wanted(scene.get(lamp.name), part), setting.here.elevation)
            sides.append(Side(steps, level_of(steps, switched=switched), tint))
        return tuple(sides)

    def _blended(
        self, newest: tuple[Side, ...], glides: tuple[Glide, ...], setting: Setting, *, partial: bool
    ) -> tuple[Side, ...]:
        """From what the oldest part still in play gives, through each that began since, to what the newest gives."""
        earliest = glides[-1].earlier
        sides = self._sides(earliest, self.room.scenes.get(earliest, {}), earliest, setting, partial=partial)
        for glide in reversed(glides):
            part = glide.part
            after = newest
            if glide is not glides[0]:
                after = self._sides(part, self.room.scenes.get(part, {}), part, setting, partial=partial)
            sides = tuple(
                _between(lamp, first, second, glide)
                for lamp, first, second in zip(self._lamps, sides, after, strict=True)
            )
        return sides

    def _target(self, lamp: Fixture, steps: tuple[Step, ...], tint: Shade) -> Target:
        switched = lamp.kind == "switched"
        level = level_of(steps, switched=switched)
        if tint.step is not None and level > 0:
            steps = (*steps, tint.step)
        reason = LampReason(lamp.name, steps, level, tint.kelvin, switched)
        return Target(lamp.name, level, tint.kelvin, reason, tint.xy)

    def _wanted(self, value: Value | None, part: str | None) -> Wanted:
        known = self._building.parts.get(part) if part is not None else None
        of_the_part = None if known is None else known.kelvin
        otherwise = Wanted(self._building.site.kelvin, "site") if of_the_part is None else Wanted(of_the_part, "part")
        if value is None:
            return otherwise
        if value.kelvin is not None:
            return Wanted(value.kelvin, "scene")
        return replace(otherwise, xy=value.xy)

    # ---- holds -------------------------------------------------------------------------------------------------------

    def _held(self, hold: Hold, level: float, why: HoldReason, day: Day, here: Here) -> Aim:
        if self.room.egress and level == 0:
            return self._show(vacant_scene(self.room, day), 0.0, day, here, (why,))
        scene = scene_of(self.room, day).scene
        taken = self._lamps_to_hold(scene)
        targets = tuple(
            self._target(
                lamp,
                (Held(level),) if lamp.name in taken else (Unnamed(),),
                shade(lamp, self._wanted_held(hold, scene.get(lamp.name), day), here.elevation),
            )
            for lamp in self._lamps
        )
        return Aim(targets, (why,), moving=hold.kelvin is None and level > 0 and moves(scene))

    def _wanted_held(self, hold: Hold, value: Value | None, day: Day) -> Wanted:
        return self._wanted(value, day.part) if hold.kelvin is None else Wanted(hold.kelvin, "hold")

    def _lamps_to_hold(self, scene: Scene) -> tuple[str, ...]:
        """The lamps that the part's scene lights, whatever the daylight; if it lights none, all but switched ones."""
        lit = tuple(lamp for lamp, value in scene.items() if lights(value))
        return lit or tuple(lamp.name for lamp in self._lamps if lamp.kind != "switched")


def _between(lamp: Fixture, before: Side, after: Side, glide: Glide) -> Side:
    """On the way from one day part to the next; a switched lamp is there at once."""
    if lamp.kind == "switched" or (before.steps, before.shade) == (after.steps, after.shade):
        return after
    level = (1 - glide.share) * before.level + glide.share * after.level
    if before.level == 0 < after.level:
        tint = after.shade
    elif after.level == 0 < before.level:
        tint = before.shade
    else:
        tint = between(before.shade, after.shade, glide.share)
    step = Blended(glide.earlier, glide.part, glide.share, before.steps, after.steps, level)
    return Side((step,), level, tint)


def hinges(occupancy: Occupancy) -> tuple[object, ...]:
    """All of a room's occupancy that its targets hang on."""
    return (
        occupancy.state.shown,
        occupancy.warned,
        occupancy.untouched,
        occupancy.hold,
        occupancy.asked,
        occupancy.bias,
    )
