"""The trials bite: each bug planted here, of the kind that slips in, is found within a few dozen seeds."""

import heapq
from collections.abc import Callable
from typing import Any

import pytest
from msgspec.structs import replace

import leerie.aiming
import leerie.controller
import leerie.fixtures.lamp
import leerie.intake.intake
import leerie.intake.wishes
import leerie.occupancy.timers
import leerie.occupancy.turn
import leerie.outlet.outlet
import leerie.record
import leerie.room
import leerie.saving
import leerie.targets.room
from leerie.course import Course
from leerie.occupancy.records import Occupancy
from leerie.occupancy.table import State
from leerie.parting import Partings
from leerie.targets.scenes import day_of

from .trial import Trial

SEEDS = 40
STEPS = 300
Plant = Callable[[pytest.MonkeyPatch], None]


# ruff: noqa: ARG005 - a planted bug takes what the sound code takes


def forgets_the_pace(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.outlet.outlet, "next_allowed", lambda slot, pace_ms: 0)


def fights_a_hold(patch: pytest.MonkeyPatch) -> None:
    aim = leerie.targets.room.RoomTargets.aim

    def automatic(self: Any, occupancy: Occupancy, *rest: Any) -> Any:
        return aim(self, replace(occupancy, hold=None), *rest)

    patch.setattr(leerie.targets.room.RoomTargets, "aim", automatic)


def refreshes_in_a_hold(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.room.Room, "_hands_off", property(lambda self: False))
    aim = leerie.targets.room.RoomTargets.aim

    def stubborn(self: Any, occupancy: Occupancy, *rest: Any) -> Any:
        found = aim(self, occupancy, *rest)
        return aim(self, replace(occupancy, hold=None), *rest) if found.targets is None else found

    patch.setattr(leerie.targets.room.RoomTargets, "aim", stubborn)


def keeps_what_a_hold_should_drop(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.outlet.outlet.Outlet, "drop", lambda self: None)


def writes_wishes_late(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.saving, "SECOND_MS", 3_600_000)
    patch.setattr(leerie.saving, "_wishes", lambda occupancy: ())


def lights_an_empty_room(patch: pytest.MonkeyPatch) -> None:
    fire = leerie.occupancy.timers.fire

    def lazy(turn: Any, timer: Any, at: Any) -> None:
        """The end of a grace forgets to leave."""
        fire(turn, timer, at)
        if timer.what == "time_up":
            turn.occupancy = replace(turn.occupancy, state=State.GRACE)

    patch.setattr(leerie.occupancy.timers, "fire", lazy)


def measures_holds_by_the_wall(patch: pytest.MonkeyPatch) -> None:
    def walled(occupancy: Occupancy) -> Any:
        held = occupancy.hold
        if held is not None and isinstance(held.ends, int):
            shift = occupancy.since.wall // 1_000 - occupancy.since.steady
            yield leerie.occupancy.timers.Timer(held.since.wall // 1_000 - shift + held.ends, "wish")

    patch.setattr(leerie.occupancy.timers, "_wish_timers", walled)


def stumbles_over_bytes(patch: pytest.MonkeyPatch) -> None:
    take = leerie.intake.intake.Intake.take

    def trusting(self: Any, message: Any) -> Any:
        message.payload.decode()
        return take(self, message)

    patch.setattr(leerie.intake.intake.Intake, "take", trusting)


def lets_an_old_command_win(patch: pytest.MonkeyPatch) -> None:
    aim = leerie.outlet.outlet.aim

    def first_come(slot: Any, *rest: Any, **named: Any) -> Any:
        return slot if slot.waiting is not None else aim(slot, *rest, **named)

    patch.setattr(leerie.outlet.outlet, "aim", first_come)


def looks_too_seldom(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.aiming.Aiming, "_tells", lambda self, look, slots: False)


def overlooks_a_reading(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.aiming.Aiming, "sky_changes", lambda self, now, skies: None)


def never_ends_a_blend(patch: pytest.MonkeyPatch) -> None:
    def stuck(holding: Any, parts: Any, wall: int) -> Any:
        began = holding.began
        return day_of(holding, parts, wall if began is None else min(wall, began + 30_000_000))

    patch.setattr(leerie.aiming, "day_of", stuck)


def trusts_any_clock(patch: pytest.MonkeyPatch) -> None:
    def hopeful(calendar: Any, room: Any, wall: int, known: Any) -> Any:
        return Course.resumed(calendar, room.parts, wall, known)

    patch.setattr(Course, "unsure", staticmethod(hopeful))


def loses_a_hold_at_a_reload(patch: pytest.MonkeyPatch) -> None:
    record = leerie.room.Room._record

    def lossy(self: Any, *rest: Any) -> Any:
        found = record(self, *rest)
        return replace(found, occupancy=replace(found.occupancy, hold=None))

    def handover(self: Any, now: Any, skies: Any) -> bytes:
        return leerie.record.encode(lossy(self, now, skies))

    patch.setattr(leerie.room.Room, "handover", handover)


def obeys_what_was_left_behind(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.intake.wishes, "is_event", lambda message: bool(message.payload))


def lets_the_queue_grow(patch: pytest.MonkeyPatch) -> None:
    def eager(self: Any, names: Any) -> None:
        for name in names:
            due = self._rooms[name].due
            if due is not None:
                self._queued[name] = due
                heapq.heappush(self._queue, (due, name))

    patch.setattr(leerie.controller.Controller, "_requeue", eager)


def floods_the_broker(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.outlet.outlet.Window, "admits", lambda self, messages: True)


def lets_lamps_starve(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.outlet.outlet.Window, "fed", lambda self: ())


def forgets_whom_it_left_behind(patch: pytest.MonkeyPatch) -> None:
    say = Partings.say

    def late(self: Any) -> Any:
        owed = say(self)
        return owed if len(owed) > 1 else ()

    patch.setattr(Partings, "say", late)


def says_half_a_command(patch: pytest.MonkeyPatch) -> None:
    messages = leerie.fixtures.lamp.Lamp.messages

    def half(self: Any, level: float, *rest: Any) -> Any:
        return tuple(
            (topic, payload.replace(b'"lamp":', b'"toggle":')) for topic, payload in messages(self, level, *rest)
        )

    patch.setattr(leerie.fixtures.lamp.Lamp, "messages", half)


def keeps_stale_commands_alive(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(leerie.outlet.outlet.Outlet, "_expiry_s", lambda self, name: 86_400)


def moves_as_it_likes(patch: pytest.MonkeyPatch) -> None:
    move = leerie.occupancy.turn.move

    def free(room: str, state: Any, event: Any) -> Any:
        after = move(room, state, event)
        return State.VACANT if after is State.GRACE and state is State.OCCUPIED else after

    patch.setattr(leerie.occupancy.turn, "move", free)


BUGS: tuple[Plant, ...] = (
    forgets_the_pace,
    fights_a_hold,
    refreshes_in_a_hold,
    keeps_what_a_hold_should_drop,
    writes_wishes_late,
    lights_an_empty_room,
    measures_holds_by_the_wall,
    stumbles_over_bytes,
    lets_an_old_command_win,
    looks_too_seldom,
    overlooks_a_reading,
    never_ends_a_blend,
    trusts_any_clock,
    loses_a_hold_at_a_reload,
    obeys_what_was_left_behind,
    lets_the_queue_grow,
    floods_the_broker,
    lets_lamps_starve,
    forgets_whom_it_left_behind,
    says_half_a_command,
    keeps_stale_commands_alive,
    moves_as_it_likes,
)


@pytest.mark.trial
@pytest.mark.parametrize("plant", BUGS, ids=lambda plant: plant.__name__)
def test_a_planted_bug_is_found(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the bug in place one of the first seeds fails; without it all pass (test_trial)."""
    plant(monkeypatch)
    for seed in range(SEEDS):
        try:
            Trial(seed).run(STEPS)
        except Exception:  # noqa: BLE001 - whatever the bug breaks first
            return
    pytest.fail(f"{plant.__name__} lived through {SEEDS} seeds")
