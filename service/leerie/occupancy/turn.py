"""One turn: a room's occupancy moved by one message, one wish or one moment of time.

A turn takes the room's frozen Occupancy and leaves another one behind, with the notes of what happened.
"""

from collections.abc import Iterator

from msgspec.structs import replace

from leerie.config.building import Rules
from leerie.intake.inputs import BatterySaid, OnlineSaid, Said
from leerie.notes import Cause, FalseOff, Moved, Note
from leerie.now import MINUTE_MS, Now
from leerie.occupancy import sensors
from leerie.occupancy.records import Latch, Occupancy, Past, Place, Sensed
from leerie.occupancy.table import Event, State, move

FALSE_OFF_MS = MINUTE_MS
"""Presence this soon after going dark by itself was a false-off."""

_BLIND = {"on": Event.BLIND_ON, "off": Event.BLIND_OFF, "last": Event.BLIND_LAST}


def begin(place: Place, part: str | None, now: Now) -> Occupancy:
    """A room without memory: in grace with its lamps untouched; one without sensors is simply in use."""
    known = {name: Sensed(heard=now) for name in place.sensors}
    if not place.eyes:
        return Occupancy(state=State.OCCUPIED, since=now, under=part, sensors=known)
    return Occupancy(state=State.GRACE, since=now, under=part, sensors=known, untouched=True)


class Turn:
    """A room's occupancy in motion."""

    def __init__(self, occupancy: Occupancy, place: Place, part: str | None) -> None:
        self.occupancy = occupancy
        self.place = place
        self.part = part
        """The day part that holds in the room now."""
        self.deaf = False
        """There is no connection: nobody can be called silent."""
        self.notes: list[Note] = []
        self.restore = False
        """A hands-off hold began where the lamps must first be brought to the full scene."""
        self.cause: Cause = "occupancy"
        """Why lamps may change."""
        self.new_part = False
        """Another day part holds since the turn began."""
        self.force = False
        """Every lamp is to be commanded, told already or not."""

    @property
    def rules(self) -> Rules:
        return self.place.under(self.part)

    # ---- moving ------------------------------------------------------------------------------------------------------

    def move(self, event: Event, now: Now, sensor: str | None = None) -> None:
        """Follow one line of the table."""
        before = self.occupancy
        after = move(self.place.room.name, before.state, event)
        anew = event is Event.ASKED and after is State.GRACE
        if event is Event.WARNING:
            self.occupancy = replace(before, warned=True)
        elif after is before.state and not anew:
            return
        else:
            self.occupancy = replace(
                before,
                state=after,
                since=now,
                under=self.part,
                event=event,
                sensor=sensor,
                warned=False,
                untouched=False,
            )
            self._crossed_vacancy(before, event, now)
        self.notes.append(Moved(self.place.room.name, before.state, after, event, sensor, now))

    def _crossed_vacancy(self, before: Occupancy, event: Event, now: Now) -> None:
        if self.occupancy.state is State.VACANT:
            self._became_vacant(before, now)
        elif before.state is State.VACANT:
            if event in (Event.GLIMPSE, Event.EVIDENCE):
                self._came_back(before, event, now)
            self.occupancy = replace(self.occupancy, first=now, past=None)

    def _became_vacant(self, before: Occupancy, now: Now) -> None:
        lasting = before.bias if before.bias is not None and before.bias.ends != "vacant" else None
        dropped = before.bias if lasting is None else None
        dark_already = before.asked is not None and not before.asked.light
        was_lit = not before.untouched and not dark_already and before.hold is None
        past = Past(
            at=now,
            after="arriving" if before.state is State.PASSING else "occupied",
            asked=before.asked,
            bias=dropped,
            counted=not was_lit,
        )
        self.occupancy = replace(self.occupancy, first=None, asked=None, bias=lasting, past=past)

    def _came_back(self, before: Occupancy, event: Event, now: Now) -> None:
        past = before.past
        if past is None:
            return
        self._count_false_off(past, now)
        if event is Event.EVIDENCE and self._relights(past, now):
            bias = self.occupancy.bias or past.bias
            self.occupancy = replace(self.occupancy, asked=past.asked, bias=bias)  # trial: relit as it was

    def _relights(self, past: Past, now: Now) -> bool:
        return 0 < self.rules.relight_ms >= now.steady - past.at.steady

    def _count_false_off(self, past: Past, now: Now) -> None:
        if not past.counted and now.steady - past.at.steady <= FALSE_OFF_MS:
            self.notes.append(FalseOff(self.place.room.name, past.after))

    # ---- sensors -----------------------------------------------------------------------------------------------------

    def hear(self, said: Said, now: Now) -> None:
        """A presence, motion or door sensor spoke."""
        before = self.occupancy.sensors[said.sensor]
        sensed, evidence = sensors.hear(before, self.place.sensors[said.sensor], said, now)
        self.put(said.sensor, sensed)
        if before.present and not sensed.present:
            self._seen_last(said.sensor, now)
        self.see_blindness(now)
        self.see_doors()
        if evidence:
            self._evidence(said, now)
        self.see_end(now)

    def see_presence(self, now: Now) -> None:
        """A sensor that goes on saying "present" is evidence at each moment, also at one that changes what counts."""
        for name in self.seeing():
            brings = name in self.rules.sensors
            if self.occupancy.state in (State.PASSING, State.GRACE) or (
                brings and self.occupancy.state is State.VACANT
            ):
                self.move(Event.EVIDENCE if brings else Event.KEEP, now, name)

    def _evidence(self, said: Said, now: Now) -> None:
        past = self.occupancy.past
        if said.retained and past is not None:
            # Nobody knows since when it has been so: that somebody came back it does not say.
            self.occupancy = replace(self.occupancy, past=replace(past, counted=True))
        if said.sensor in self.rules.sensors:
            self.latch(said.sensor, now)
            self.move(self._sureness(said.retained, now), now, said.sensor)
        elif said.sensor in self.rules.keep:
            self.latch(said.sensor, now)
            self._keep(said.sensor, now)
        else:
            # This part of the day does not listen to it; what it said must not keep light later either.
            sensed = self.occupancy.sensors[said.sensor]  # trial: not heard in this part
            self.put(said.sensor, sensors.end_presence(sensed, "part", now))

    def _keep(self, sensor: str, now: Now) -> None:
        past = self.occupancy.past
        if self.occupancy.state is State.VACANT and past is not None:
            self._count_false_off(past, now)
            self.occupancy = replace(self.occupancy, past=replace(past, counted=True))
        self.move(Event.KEEP, now, sensor)

    def _sureness(self, retained: bool, now: Now) -> Event:
        """Evidence, or a glimpse that `confirm` must still bear out."""
        occupancy, rules = self.occupancy, self.rules
        if occupancy.state is State.VACANT:
            past = occupancy.past
            sure = rules.confirm_ms == 0 or (past is not None and self._relights(past, now))
        elif occupancy.state in (State.ARRIVING, State.PASSING):
            first = occupancy.first or occupancy.since
            sure = now.steady - first.steady >= self.place.under(occupancy.under).confirm_ms
        else:
            sure = True
        return Event.EVIDENCE if sure or retained else Event.GLIMPSE

    def listen(self, now: Now) -> None:
        """From now on every sensor can be heard; a silence counts from here."""
        for name, sensed in self.occupancy.sensors.items():
            if self.place.sensors[name].alive_ms is not None:
                self.put(name, replace(sensed, awaited=now))

    def hear_online(self, said: OnlineSaid, now: Now) -> None:
        sensed = sensors.reported_online(self.occupancy.sensors[said.sensor], said.online, now)
        self.put(said.sensor, sensed)
        self.see_sensors(now)

    def hear_battery(self, said: BatterySaid, now: Now) -> None:
        sensed = sensors.reported_battery(self.occupancy.sensors[said.sensor], said.low, now)
        self.put(said.sensor, sensed)
        self.see_sensors(now)

    def put(self, name: str, sensed: Sensed) -> None:
        self.occupancy = replace(self.occupancy, sensors={**self.occupancy.sensors, name: sensed})

    def see_sensors(self, now: Now) -> None:
        """Draw every consequence of what the sensors are now, evidence aside."""
        self.see_blindness(now)
        self.see_doors()
        self.see_end(now)

    def see_blindness(self, now: Now) -> None:
        eyes = self.place.eyes
        blind = bool(eyes) and all(self.occupancy.sensors[name].out for name in eyes)
        if not blind:
            self.occupancy = replace(self.occupancy, blind=None) if self.occupancy.blind else self.occupancy
        elif self.occupancy.blind is None:
            self.occupancy = replace(self.occupancy, blind=now, latch=None)  # trial: blind
            self.move(_BLIND[self.place.room.if_blind], now)

    def see_end(self, now: Now) -> None:
        """If nothing keeps the room in use any more, its grace begins."""
        if self.occupancy.state in (State.ARRIVING, State.OCCUPIED) and not self.kept(now):
            self.move(Event.ENDED, now)

    def kept(self, now: Now) -> bool:
        """Does anything keep the room in use?"""
        occupancy, rules = self.occupancy, self.rules
        if not self.place.eyes:
            return True
        if occupancy.blind is not None:
            mode = self.place.room.if_blind
            return mode == "on" or (mode == "last" and now.steady < occupancy.blind.steady + self.place.stuck())
        return occupancy.latch is not None or any(
            self._keeps(name) for group in (rules.sensors, rules.keep) for name in group
        )

    def _keeps(self, name: str) -> bool:
        sensed = self.occupancy.sensors[name]
        return self.place.sensors[name].kind in ("presence", "motion") and sensed.present

    def seen(self) -> str | None:
        """A presence sensor, or the latch's, that says somebody is there right now."""
        return next(self.seeing(), self.occupancy.latch.sensor if self.occupancy.latch else None)

    def seeing(self) -> Iterator[str]:
        """The presence sensors that say somebody is there right now, those that bring light first."""
        for name in (*self.rules.sensors, *self.rules.keep):
            if self.place.sensors[name].kind == "presence" and self.occupancy.sensors[name].present:
                yield name

    # ---- doors -------------------------------------------------------------------------------------------------------

    def sealed_from(self, sensor: str) -> int | None:
        """The steady ms from which presence seen by `sensor` means somebody behind shut doors; None: a door stands
        open, or is not known.
        """
        room = self.place.room
        if not room.enclosed or not self.place.doors:
            return None
        latest = 0
        for door in self.place.doors:
            sensed = self.occupancy.sensors[door]
            if sensed.said is not False or sensed.out or sensed.first is None:
                return None
            latest = max(latest, sensed.first.steady)
        return latest + room.settle_ms + (self.place.sensors[sensor].clears_ms or 0)

    def latch(self, sensor: str, now: Now) -> None:
        """Presence seen by this sensor: is somebody enclosed?"""
        if self.place.sensors[sensor].kind in ("presence", "motion"):
            sealed = self.sealed_from(sensor)
            if sealed is not None and now.steady > sealed:
                self.occupancy = replace(self.occupancy, latch=Latch(sensor, now))

    def _seen_last(self, sensor: str, now: Now) -> None:
        """The latch counts from the last moment at which its sensor saw somebody."""
        latch = self.occupancy.latch
        if latch is not None and latch.sensor == sensor and self.sees_at_every_moment(sensor):
            self.occupancy = replace(self.occupancy, latch=Latch(sensor, now))

    def sees_at_every_moment(self, sensor: str) -> bool:
        """While it says "present" it goes on seeing somebody; what `clears` holds over is not seen."""
        given = self.place.sensors[sensor]
        return given.kind == "presence" and given.clears_ms is None

    def see_doors(self) -> None:
        """An open or unknown door opens the latch."""
        latch = self.occupancy.latch
        if latch is not None and self.sealed_from(latch.sensor) is None:
            self.occupancy = replace(self.occupancy, latch=None)

    # ---- the day -----------------------------------------------------------------------------------------------------

    def part_begins(self, part: str | None, now: Now) -> None:
        """Another day part holds from now on; sensors that it leaves out stop counting."""
        self.part = part
        self.new_part = True
        rules = self.rules
        for name in self.place.eyes:
            sensed = self.occupancy.sensors[name]
            if sensed.present and name not in rules.sensors and name not in rules.keep:
                self.put(name, sensors.end_presence(sensed, "part", now))
        self.move(Event.PART_BEGINS, now)
        self.see_presence(now)
        self.see_end(now)
