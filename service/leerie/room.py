"""One room on the walk: what is heard moves its occupancy, occupancy and daylight make its targets, the outlet tells
its lamps.

All that lasts of a room is in its record; what else stands here is worked out from it or is news of the connection.
"""

from typing import Literal

from msgspec.structs import replace

from leerie import record as records
from leerie.aiming import Aiming
from leerie.config.building import Building
from leerie.daylight.outdoors import Skies
from leerie.intake.inputs import Input, Metered
from leerie.messages import Publish, Step
from leerie.notes import Cause, Decided, Note, Refused
from leerie.now import Now
from leerie.occupancy import hearing, reasons
from leerie.occupancy.records import Place
from leerie.occupancy.table import State
from leerie.occupancy.turn import Turn
from leerie.outlet.outlet import Outlet, Window
from leerie.reasons import Reason
from leerie.record import Record
from leerie.saving import Saving
from leerie.targets.room import Aim, Target, hinges
from leerie.view import Face, because, room_view
from leerie.views import RoomView
from leerie.waking import Awake


class Room:
    """A room, its record and its lamps."""

    def __init__(self, building: Building, place: Place, awake: Awake, window: Window, boot: str) -> None:
        """`awake`: what the room begins with; `boot` names the run of the steady clock."""
        self.name = name = place.room.name
        self._place = place
        self._boot = boot
        self._saving = Saving()
        self._online = False
        self._owed: tuple[Cause, bool] | None = None
        """A decision not told for want of a connection: its cause, and whether every lamp is to be told."""
        self._owes_scene = False
        """Hands went off before the lamps could be brought to the scene that they are to be left at."""
        self._notes: list[Note] = []
        self._commands: list[Publish] = []
        self._now = awake.since
        self._occupancy = awake.occupancy
        self._course = awake.course
        self._revision = awake.revision
        self._outlet = Outlet(building, name, awake.slots, window)
        self.aiming = Aiming(building, name, awake.here)
        self._face = Face(reasons.faults(self._occupancy, self._place))

    # ---- what comes in -----------------------------------------------------------------------------------------------

    def receive(self, given: Input, now: Now, skies: Skies) -> None:
        """A message concerns this room."""
        turn = self._catch_up(now)
        if isinstance(given, Metered):
            self.aiming.read(given.lux, self._occupancy, self._outlet.slots, now, skies)
        if hearing.hear(turn, given, now):
            self._face.speak = True
        self._conclude(turn, now, skies)

    def refused(self, note: Refused, now: Now, skies: Skies) -> None:
        """A message for this room was refused."""
        turn = self._catch_up(now)
        hearing.refuse(turn, note, now)
        self._face.speak = True
        self._conclude(turn, now, skies)

    def advance(self, now: Now, skies: Skies, *, speak: bool = False) -> None:
        """Time has passed; `speak`: the wall clock stepped, and every time that the room tells is another."""
        self._face.speak = self._face.speak or speak
        if speak:
            self.aiming.clock_steps(now)
            self._course.clock_stepped()
        self._conclude(self._catch_up(now), now, skies)

    def clock_known(self, now: Now, skies: Skies) -> None:
        """The wall clock is right from now on."""
        self._course.clock_known()
        self.advance(now, skies, speak=True)

    def settled(self, now: Now, skies: Skies, share: float) -> None:
        """The connection stands and all that was kept has arrived: tell what is new now, repeat the rest soon."""
        turn = self._catch_up(now)
        turn.listen(now)
        self._online = self._face.speak = True
        self._saving.forget()
        self._outlet.reconnected(now.steady, share)
        owed, self._owed = self._owed, None
        if self._decide_after(turn):
            owed = (turn.cause, turn.force or (owed is not None and owed[1]))
        cause, force = owed or ("start", False)
        aim = self._work_out(now, skies)
        if aim.targets is None and self._owes_scene:
            self._restore(now, skies)
        elif aim.targets is None:
            self._outlet.drop()
        else:
            self._aim_lamps(aim.targets, cause, force=force, gliding=owed is None)
        self._tell(now)

    def resumed(self, now: Now, done: int, skies: Skies) -> None:
        """Go on in the midst of a connection, telling nobody. `done`: steady ms; until then, refreshes are."""
        self._online = True
        self._outlet.resumed(done)
        self._work_out(now, skies)
        self.aiming.foresee(self._outlet.slots, self._occupancy, self._course.holding, now, skies)

    def lost(self) -> None:
        """The connection is gone."""
        self._online = False
        self._outlet.disconnected()

    def farewell(self, now: Now, skies: Skies) -> None:
        """A clean stop leaves an escape route lit, and everything else as it is."""
        self.advance(now, skies)
        self._saving.forget()
        hold = self._occupancy.hold
        if self._place.room.egress and self._online and (hold is None or hold.level is not None):
            lit = self.aiming.lit_scene(self._course.holding, now, skies)
            self._notes.extend(self._outlet.aim(lit.targets or (), "egress"))
            self._tell(now, paced=False)

    @property
    def _turn(self) -> Turn:
        turn = Turn(self._occupancy, self._place, self._course.holding.part)
        turn.deaf = not self._online
        return turn

    def _catch_up(self, now: Now) -> Turn:
        turn = self._turn
        self._course.catch_up(turn, self._now, now)
        self._now = now
        return turn

    # ---- deciding ----------------------------------------------------------------------------------------------------

    def _conclude(self, turn: Turn, now: Now, skies: Skies) -> None:
        """The turn is over: decide, and tell the lamps."""
        anew = self._decide_after(turn)
        if turn.restore:
            self._restore(now, skies)
        elif anew:
            self._decide(turn.cause, now, skies, force=turn.force)
        elif self.aiming.aim is None:
            self._work_out(now, skies)
        elif self._online and self.aiming.due is not None and now.steady >= self.aiming.due:
            self._glide(now, skies)
        self._repeat(now, skies)
        self._tell(now)

    def _decide_after(self, turn: Turn) -> bool:
        """Take the turn's outcome; returns whether there is something to decide."""
        before, self._occupancy = self._occupancy, turn.occupancy
        comes = before.state is State.VACANT and self._occupancy.state is not State.VACANT
        if comes or turn.cause in ("ask", "hold_end"):
            self.aiming.begin_anew()
        self._notes.extend(turn.notes)
        if self._occupancy is not before:
            self._notes.extend(self._face.faults(self.name, reasons.faults(self._occupancy, self._place)))
        return turn.force or turn.new_part or hinges(before) != hinges(self._occupancy)

    def _work_out(self, now: Now, skies: Skies) -> Aim:
        return self.aiming.work_out(self._occupancy, self._course.holding, now, skies)

    def _decide(self, cause: Cause, now: Now, skies: Skies, *, force: bool) -> None:
        hands_were_off = self._hands_off
        aim = self._work_out(now, skies)
        if aim.targets is None:
            self._owed = None
            if not hands_were_off:
                self._outlet.drop()
            return
        self._owes_scene = False
        if self._online:
            self._aim_lamps(aim.targets, cause, force=force)
        else:
            owed = self._owed  # trial: decided offline
            self._owed = (cause, force or (owed is not None and owed[1]))

    def _glide(self, now: Now, skies: Skies) -> None:
        """Lamps move with daylight or to another day part, a visible step at a time, and to the end of a blend."""
        aim = self._work_out(now, skies)
        self.aiming.looks_ahead = True
        ends = self.aiming.blend_ended()
        self._aim_lamps(aim.targets or (), "drift", force=False, gliding=not ends)

    def _restore(self, now: Now, skies: Skies) -> None:
        """Before hands go off the lamps are brought to the scene; that is the last they hear."""
        restored = self.aiming.restored(self._occupancy, self._course.holding, now, skies)
        self._work_out(now, skies)
        self._owed = None
        self._owes_scene = not self._online  # trial: hands off without a connection
        self._outlet.drop()
        if self._online:
            self._aim_lamps(restored.targets or (), "hold", force=False)
            self._tell(now, paced=False)

    def _aim_lamps(self, targets: tuple[Target, ...], cause: Cause, *, force: bool, gliding: bool = False) -> None:
        before = dict(self._outlet.slots)
        self._notes.extend(self._outlet.aim(targets, cause, force=force, gliding=gliding))
        if any(slot.waiting is not None and slot != before[name] for name, slot in self._outlet.slots.items()):
            state, part = self._occupancy.state.shown, self._course.holding.shown
            self._notes.append(Decided(self.name, cause, state, part, self._because(targets)))

    def _repeat(self, now: Now, skies: Skies) -> None:
        """Lamps that are told again although nothing is new."""
        self._tell_again(self._outlet.repeats_due(now.steady), "reconnect", now, skies)
        self._tell_again(self._outlet.refreshes_due(now.steady), "refresh", now, skies)

    def _tell_again(
        self, lamps: tuple[str, ...], cause: Literal["reconnect", "refresh"], now: Now, skies: Skies
    ) -> None:
        if lamps and self._online and not self._hands_off:
            targets = self._work_out(now, skies).targets or ()
            again = tuple(target for target in targets if target.lamp in lamps)
            self._notes.extend(self._outlet.aim(again, cause, force=True))

    def _tell(self, now: Now, *, paced: bool = True) -> None:
        if self._online:
            commands, notes = self._outlet.tell(now, paced=paced)
            self._commands.extend(commands)
            self._notes.extend(notes)

    @property
    def _hands_off(self) -> bool:
        return self.aiming.aim is not None and self.aiming.aim.targets is None

    def _because(self, targets: tuple[Target, ...]) -> tuple[Reason, ...]:
        why = self.aiming.aim.reasons if self.aiming.aim is not None else ()
        return because(self._turn, self._course.holding, *why, *self._outlet.reasons(targets))

    # ---- when, and what is left to do --------------------------------------------------------------------------------

    @property
    def due(self) -> int | None:
        """The steady ms at which this room must be looked at again."""
        timer = self._course.next_timer(self._turn)
        moments = (
            timer.due if timer is not None else None,
            int(self._course.due(self._now)),
            self.aiming.due if self._online else None,
            self._outlet.due(online=self._online, hands_off=self._hands_off),
            self._saving.due,
        )
        return min((moment for moment in moments if moment is not None), default=None)

    def collect(self, now: Now, skies: Skies) -> Step:
        """Hand over what the step has left to be done."""
        if self._online:
            self.aiming.foresee(self._outlet.slots, self._occupancy, self._course.holding, now, skies)
        save = self._saving.offer(self._record(now, skies), now)
        if save:
            self._revision += 1
        view = self._news(now, skies)
        step = Step(tuple(self._commands), tuple(self._notes), save, view)
        self._commands.clear()
        self._notes.clear()
        return step

    def _news(self, now: Now, skies: Skies) -> RoomView | None:
        """The room's view, if it shows anything new or somebody waits for an answer."""
        turn = self._turn
        slots = tuple(self._outlet.slots.values())
        if not self._face.made_anew(turn.occupancy, self._course.holding, slots, turn.kept(now)):
            return None
        outdoor = self.aiming.here(now, skies).outdoor
        view = self._face.news(turn, room_view(turn, self._course.holding, self._outlet.slots, outdoor, now))
        targets = self.aiming.aim.targets if self.aiming.aim is not None else None
        return None if view is None else replace(view, because=self._because(targets or ()))

    def handover(self, now: Now, skies: Skies) -> bytes:
        """The record as it is now, for who goes on from here."""
        return records.encode(self._record(now, skies))

    def memory(self) -> bytes:
        """The record as last written."""
        return records.encode(self._saving.saved) if self._saving.saved is not None else b""

    def _record(self, now: Now, skies: Skies) -> Record:
        return Record(
            room=self.name,
            revision=self._revision + 1,
            boot=self._boot,
            at=now,
            occupancy=self._occupancy,
            slots=dict(self._outlet.slots),
            part=self._course.remembered[0],
            began=self._course.remembered[1],
            here=(here := self.aiming.kept),
            outdoors=None if here is None else skies.outdoors,
        )
