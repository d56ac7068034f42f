"""What every lamp of a room should be: a pure function of its occupancy, the day and the light outdoors."""

from collections.abc import Iterator

import msgspec

from leerie.config.building import Building, Fixture, Follow, Room, Scene, Value
from leerie.notes import (
    AskReason,
    Held,
    HoldReason,
    LampReason,
    Reason,
    Step,
    Unnamed,
    UntouchedReason,
    White,
)
from leerie.occupancy.records import Hold, Occupancy
from leerie.occupancy.table import State
from leerie.targets.levels import Factors, Whose, clip_white, level_of, work_out
from leerie.targets.scenes import Choice, Day, candidates_for_light, choose, lights, scene_of


class Target(msgspec.Struct, frozen=True):
    """What one lamp should be."""

    lamp: str
    level: float
    kelvin: int | None
    reason: LampReason


class Aim(msgspec.Struct, frozen=True):
    """What a room's lamps should be."""

    targets: tuple[Target, ...] | None
    """None: hands off, or not yet touched."""
    reasons: tuple[Reason, ...]
    """Why this scene; the lamps' own reasons stand in the targets."""
    moving: bool
    """The targets change with daylight."""


class RoomTargets:
    """A room's share of the building, ready to answer."""

    def __init__(self, building: Building, name: str) -> None:
        self.room: Room = building.rooms[name]
        self._building = building
        self._lamps: tuple[Fixture, ...] = tuple(building.fixtures[lamp] for lamp in self.room.fixtures)

    def aim(self, occupancy: Occupancy, day: Day, outdoor: float) -> Aim:
        """What the lamps should be now. `outdoor`: lx outdoors as this room goes by it."""
        if occupancy.untouched:
            return Aim(None, (UntouchedReason(),), moving=False)
        hold = occupancy.hold
        if hold is None:
            return self._automatic(occupancy, day, outdoor)
        why = HoldReason(hold.by, hold.since.wall, hold.level, hold.kelvin)
        if hold.level is None:
            return Aim(None, (why,), moving=False)
        return self._held(hold, hold.level, why, day, outdoor)

    def restored(self, occupancy: Occupancy, day: Day, outdoor: float) -> Aim:
        """What the lamps are brought to before hands go off: the scene without warning; an escape route's lit scene."""
        if self.room.egress:
            return self.lit_scene(day, outdoor)
        bare = msgspec.structs.replace(occupancy, hold=None, warned=False)
        return self._automatic(bare, day, outdoor)

    def lit_scene(self, day: Day, outdoor: float) -> Aim:
        """What an escape route is left with when hands go off and at a clean stop."""
        return self._show(Choice(scene_of(self.room, day)), 0.0, day, outdoor)

    # ---- automation --------------------------------------------------------------------------------------------------

    def _automatic(self, occupancy: Occupancy, day: Day, outdoor: float) -> Aim:
        bias = self._bias(occupancy)

        def lit(scene: Scene) -> bool:
            return any(target.level > 0 for target in self._targets(scene, day, outdoor, Factors(bias=bias)))

        choice = choose(self.room, occupancy, day, lit)
        asked = occupancy.asked
        if asked is None or occupancy.state is State.VACANT:
            return self._show(choice, bias, day, outdoor)
        shown = self._show(choice, bias, day, outdoor, (AskReason(asked.light, asked.since.wall, choice.asked),))
        # Which scene brings light may hang on daylight even where the one that does now stands still.
        choosing = asked.light and any(_follows(scene) for _, scene in candidates_for_light(self.room, day))
        return msgspec.structs.replace(shown, moving=shown.moving or choosing)

    def _show(self, choice: Choice, bias: float, day: Day, outdoor: float, why: tuple[Reason, ...] = ()) -> Aim:
        rules = self.room.rules_in(day.part)
        factors = Factors(
            bias=bias if choice.biased else 0.0,
            auto_on=rules.auto_on if choice.partial else 1.0,
            warn=rules.warn_level if choice.warned else 1.0,
            never_dark=self.room.egress or choice.never_dark,
        )
        targets = tuple(self._targets(choice.scene, day, outdoor, factors))
        return Aim(targets, why, moving=_follows(choice.scene))

    def _bias(self, occupancy: Occupancy) -> float:
        bias = occupancy.bias.bias if occupancy.bias is not None else 0.0
        return max(0.0, bias) if self.room.egress else bias

    def _targets(self, scene: Scene, day: Day, outdoor: float, factors: Factors) -> Iterator[Target]:
        for lamp in self._lamps:
            value = scene.get(lamp.name)
            steps = work_out(value, lamp, outdoor, self._building.daylight, factors)
            yield self._target(lamp, steps, self._wanted_white(value, day))

    def _target(self, lamp: Fixture, steps: tuple[Step, ...], wanted: tuple[int, Whose]) -> Target:
        switched = lamp.kind == "switched"
        level = level_of(steps, switched=switched)
        white = clip_white(lamp, wanted[0])
        if white is not None and level > 0:
            steps = (*steps, White(white, wanted[1], wanted[0]))
        return Target(lamp.name, level, white, LampReason(lamp.name, steps, level, white, switched))

    def _wanted_white(self, value: Value | None, day: Day) -> tuple[int, Whose]:
        if value is not None and value.kelvin is not None:
            return value.kelvin, "scene"
        part = self._building.parts.get(day.part) if day.part is not None else None
        if part is not None and part.kelvin is not None:
            return part.kelvin, "part"
        return self._building.site.kelvin, "site"

    # ---- holds -------------------------------------------------------------------------------------------------------

    def _held(self, hold: Hold, level: float, why: HoldReason, day: Day, outdoor: float) -> Aim:
        if self.room.egress and level == 0:
            vacant = Choice(self.room.rules_in(day.part).vacant)
            return self._show(vacant, 0.0, day, outdoor, (why,))
        taken = self._lamps_to_hold(day)
        scene = scene_of(self.room, day)
        targets = tuple(
            self._held_target(
                lamp, level if lamp.name in taken else None, hold, self._wanted_white(scene.get(lamp.name), day)
            )
            for lamp in self._lamps
        )
        return Aim(targets, (why,), moving=False)

    def _held_target(self, lamp: Fixture, level: float | None, hold: Hold, scenes: tuple[int, Whose]) -> Target:
        wanted: tuple[int, Whose] = scenes if hold.kelvin is None else (hold.kelvin, "hold")
        steps: tuple[Step, ...] = (Unnamed(),) if level is None else (Held(level),)
        return self._target(lamp, steps, wanted)

    def _lamps_to_hold(self, day: Day) -> tuple[str, ...]:
        """The lamps that the part's scene lights, whatever the daylight; if it lights none, all but switched ones."""
        lit = tuple(lamp for lamp, value in scene_of(self.room, day).items() if lights(value))
        return lit or tuple(lamp.name for lamp in self._lamps if lamp.kind != "switched")


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


def _follows(scene: Scene) -> bool:
    return any(isinstance(value, Follow) for value in scene.values())
