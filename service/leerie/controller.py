"""The walk itself: a message is understood, its room is moved, its lamps are told.

Sans-I/O: messages, news of the link and time go in, an Outcome comes out. It never opens a socket, reads a clock,
sleeps, logs or starts a thread; whoever holds it decides what time it is. The daemon, a rehearsal and the trials hold
the same object.
"""

import heapq
from collections.abc import Iterable, Mapping

from leerie.config.building import Building
from leerie.daylight.calendar import Calendar
from leerie.daylight.outdoors import Skies
from leerie.intake.inputs import (
    AskWish,
    BatterySaid,
    BiasWish,
    HoldWish,
    Input,
    Metered,
    OnlineSaid,
    Pressed,
    Read,
    Said,
)
from leerie.intake.intake import Intake
from leerie.messages import AT_ONCE, Message, Outcome, Publish
from leerie.notes import Heard, Note, Refused, Undelivered
from leerie.now import MINUTE_MS, SECOND_MS, Now
from leerie.occupancy.records import Place
from leerie.outlet.outlet import Window
from leerie.room import Room
from leerie.view import sky_view
from leerie.views import RoomView, SkyView
from leerie.waking import wake

SKY_MS = MINUTE_MS
SKY_LEAST_MS = 10 * SECOND_MS
CLOCK_STEP_US = 100_000
"""The wall clock is taken to have stepped when it moved against the steady one by more than this."""


class Controller:
    """All rooms of a building."""

    def __init__(self, building: Building, memory: Mapping[str, bytes], boot: str, *, clock_known: bool = True) -> None:
        """`memory`: each room's record as last written, or none; `boot`: names this run of the steady clock;
        `clock_known`: the wall clock is known to be right.
        """
        self._clock_known = clock_known
        self._building = building
        self._memory = memory
        self._boot = boot
        self._intake = Intake(building)
        self._calendar = Calendar(building)
        self._window = Window()
        self._skies = Skies(building)
        self._rooms: dict[str, Room] = {}
        self._listeners = _listeners(building)
        self._queue: list[tuple[int, str]] = []
        self._queued: dict[str, int] = {}
        """The earliest moment that the queue holds for a room; others of that room in it are out of date."""
        self._online = False
        self._offset_us: int | None = None
        self._sky_due = 0
        self._sky_shown = 0
        self._sky_part: str | None = None
        self._owed: list[Note] = []

    def filters(self) -> tuple[str, ...]:
        """Topic filters it wants, in a fixed order."""
        return self._intake.filters()

    def linked(self, now: Now) -> None:
        """A connection stands; nothing is sent yet."""
        self._wake(now)

    def settled(self, now: Now, at_once: int = AT_ONCE) -> Outcome:
        """What the broker kept has arrived: first decisions, in one go; every room's state and record goes out.
        `at_once`: so many publishes the broker takes at a time, 1 or more.
        """
        self._wake(now)
        self._window.open(at_once)
        self._online = True
        self._sky_due = now.steady
        count = len(self._rooms)
        for place, room in enumerate(self._rooms.values()):
            room.settled(now, self._skies, place / count)
        return self._outcome(self._rooms, now)

    def lost(self, now: Now) -> None:
        """The connection is gone; nothing that was in flight counts any more."""
        del now
        self._online = False
        self._window.lost()
        for room in self._rooms.values():
            room.lost()

    def receive(self, message: Message, now: Now) -> Outcome:
        """Take a message."""
        self._wake(now)
        notes: list[Note] = []
        touched: dict[str, None] = {}
        for given in self._intake.take(message):
            if isinstance(given, Refused):
                notes.append(given)
                for name in given.rooms:
                    self._rooms[name].refused(given, now, self._skies)
                touched.update(dict.fromkeys(given.rooms))
            else:
                notes.append(_heard(given, self._building, message.retained))
                touched.update(dict.fromkeys(self._hear(given, now)))
        return self._outcome(touched, now, notes)

    def advance(self, now: Now) -> Outcome:
        """Time has passed."""
        self._wake(now)
        stepped = self._stepped(now)
        due = stepped or self._take_due(now)
        for name in due:
            self._rooms[name].advance(now, self._skies, speak=bool(stepped))
        return self._outcome(due, now)

    def clock_known(self, now: Now) -> Outcome:
        """From now on the wall clock is known to be right; until then no day part holds."""
        if self._clock_known:
            return Outcome()
        self._wake(now)
        self._clock_known = True
        self._sky_due = min(self._sky_due, max(now.steady, self._sky_shown + SKY_LEAST_MS))
        for room in self._rooms.values():
            room.clock_known(now, self._skies)
        return self._outcome(self._rooms, now)

    def acknowledged(self, ticket: int, ok: bool, now: Now) -> None:
        """The broker took or refused a publish; look at due() again."""
        del now
        fixture, topic = self._window.flying.pop(ticket, ("", ""))
        if fixture and not ok:
            self._owed.append(Undelivered(fixture, topic))  # trial: a command refused
        self._requeue(self._window.fed())

    def due(self) -> int | None:
        """Steady millisecond at which advance() is next needed."""
        if self._owed:
            return 0
        first = self._queue[0][0] if self._queue else None
        if not self._online:
            return first
        return self._sky_due if first is None else min(first, self._sky_due)

    def memory(self, room: str) -> bytes:
        """One room's record, as last named in an Outcome."""
        return self._rooms[room].memory()

    def handover(self, now: Now) -> dict[str, bytes]:
        """Every room's record as it is now, for the controller that goes on from here with another config."""
        self._wake(now)
        return {name: room.handover(now, self._skies) for name, room in self._rooms.items()}

    def farewell(self, now: Now) -> Outcome:
        """A clean stop: escape routes get their lit scene, nothing else is sent."""
        self._wake(now)
        for room in self._rooms.values():
            room.farewell(now, self._skies)
        return self._outcome(self._rooms, now)

    # ---- the parts of a step -----------------------------------------------------------------------------------------

    def _wake(self, now: Now) -> None:
        """Rooms begin with the first instant that is known."""
        if not self._rooms:
            for name in self._building.rooms:
                memory = self._memory.get(name)
                place = Place.of(self._building.rooms[name], self._building.sensors)
                awake = wake(place, self._calendar, memory, self._boot, now, clock_known=self._clock_known)
                self._rooms[name] = Room(self._building, place, awake, self._window, self._boot)
                if awake.outdoors is not None:
                    self._skies.outdoors = self._skies.outdoors.newest(awake.outdoors)
            self._memory = {}
            self._offset_us = now.wall - now.steady * 1_000
            self._requeue(self._rooms)

    def _hear(self, given: Input, now: Now) -> tuple[str, ...]:
        """Bring an input to the rooms that it concerns; a reading of the sky moves no lamp by itself."""
        match given:
            case Read():
                self._read(given, now)
                return ()
            case HoldWish() | AskWish() | BiasWish() | Metered():
                rooms: tuple[str, ...] = (given.room,)
            case _:
                rooms = self._listeners.get(given.sensor, ())
        for name in rooms:
            self._rooms[name].receive(given, now, self._skies)
        return rooms

    def _read(self, given: Read, now: Now) -> None:
        for room in self._rooms.values():
            room.aiming.sky_changes(now, self._skies)
        self._skies.read(given.feed, given.value, now)
        self._requeue(self._rooms)
        self._sky_due = min(self._sky_due, max(now.steady, self._sky_shown + SKY_LEAST_MS))

    def _outcome(self, names: Iterable[str], now: Now, notes: Iterable[Note] = ()) -> Outcome:
        commands: list[Publish] = []
        records: list[str] = []
        views: list[RoomView] = []
        told = [*notes, *self._owed]
        self._owed = []
        for name in names:
            step = self._rooms[name].collect(now, self._skies)
            commands.extend(step.commands)
            told.extend(step.notes)
            if step.save:
                records.append(name)
            if step.view is not None and self._online:
                views.append(step.view)
        self._requeue(names)
        return Outcome(tuple(commands), tuple(records), tuple(views), self._sky_news(now), tuple(told))

    def _sky_news(self, now: Now) -> SkyView | None:
        if not self._online or now.steady < self._sky_due:
            return None
        holding = self._calendar.holding(tuple(self._building.parts), now.wall)
        self._sky_shown = now.steady
        self._sky_due = now.steady + SKY_MS
        if holding.next is not None:
            begins = now.steady - (now.wall - holding.next) // 1_000
            self._sky_due = min(self._sky_due, max(begins, now.steady + SKY_LEAST_MS))
        return sky_view(self._skies.at(now), holding.part if self._clock_known else None, now)

    # ---- the queue ---------------------------------------------------------------------------------------------------

    def _requeue(self, names: Iterable[str]) -> None:
        for name in names:
            due = self._rooms[name].due
            queued = self._queued.get(name)
            if due is not None and (queued is None or due < queued):
                self._queued[name] = due
                heapq.heappush(self._queue, (due, name))
        if len(self._queue) > 2 * len(self._rooms) + 8:
            self._queue = [(due, name) for name, due in self._queued.items()]
            heapq.heapify(self._queue)  # trial: the queue cleared up

    def _take_due(self, now: Now) -> tuple[str, ...]:
        """The rooms whose moment has come, in order."""
        taken: dict[str, None] = {}
        while self._queue and self._queue[0][0] <= now.steady:
            due, name = heapq.heappop(self._queue)
            if self._queued.get(name) == due:
                del self._queued[name]
                taken[name] = None
        return tuple(taken)

    def _stepped(self, now: Now) -> tuple[str, ...]:
        """Every room, when the wall clock has stepped: day parts lie elsewhere now."""
        offset = now.wall - now.steady * 1_000
        if self._offset_us is not None and abs(offset - self._offset_us) <= CLOCK_STEP_US:
            return ()
        self._offset_us = offset
        self._sky_due = min(self._sky_due, max(now.steady, self._sky_shown + SKY_LEAST_MS))
        self._queue.clear()
        self._queued.clear()
        return tuple(self._rooms)


def _listeners(building: Building) -> dict[str, tuple[str, ...]]:
    """Sensor → the rooms that have to do with it."""
    rooms: dict[str, tuple[str, ...]] = {}
    for room in building.rooms.values():
        for sensor in room.sensors:
            rooms[sensor] = (*rooms.get(sensor, ()), room.name)
    return rooms


def _heard(given: Input, building: Building, retained: bool) -> Heard:
    """The note of a message that was taken."""
    match given:
        case Said(sensor, present):
            note = Heard(building.sensors[sensor].kind, sensor, "present" if present else "absent", retained)
        case Pressed(sensor, deed):
            note = Heard("button", sensor, deed or "nothing", retained)
        case OnlineSaid(sensor, online):
            note = Heard("online", sensor, "online" if online else "gone", retained)
        case BatterySaid(sensor, low):
            note = Heard("battery", sensor, "low" if low else "good", retained)
        case Read(feed, value):
            note = Heard(feed, feed, str(value), retained)
        case Metered(room, lux):
            note = Heard("meter", room, str(lux), retained)
        case HoldWish(room, action):
            note = Heard("hold", room, action, retained)
        case AskWish(room, light):
            note = Heard("ask", room, "light" if light else "dark", retained)
        case BiasWish(room, bias):
            note = Heard("bias", room, str(bias), retained)
    return note
