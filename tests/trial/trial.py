"""One trial: faults first, with every invariant checked after every step, then peace, in which everything must settle.

The seed draws the building, what people and sensors do, and what the broker does to it: messages lost, doubled, held
back and overtaken, connections cut with commands in flight, refused publishes, restarts from whatever had been
written by then, and clocks set wrong. The controller is the one that runs in the daemon.
"""

from collections import Counter
from collections.abc import Callable, Mapping
from random import Random
from typing import Any

from leerie import record as records
from leerie.controller import Controller
from leerie.daylight import here as heres
from leerie.daylight.calendar import Calendar, Holding
from leerie.fixtures.lamp import Lamp
from leerie.messages import AT_ONCE, RETAINED_AT_ONCE, Message, Outcome, Publish
from leerie.notes import Commanded, Decided, Faulted, HoldBegun, HoldEnded, Moved, Note
from leerie.now import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Now
from leerie.occupancy.table import OCCUPANCY, Event, State
from leerie.outlet.slot import LEVEL_STEP, next_allowed
from leerie.parting import Partings
from leerie.reasons import Maintains
from leerie.rehearsal.lamps import Lamp as Ear
from leerie.targets.room import RoomTargets
from leerie.targets.scenes import day_of

from .house import LEAVABLE, draw

START = Now(5_000_000, 1_772_438_400_000_000)  # 2026-03-02 08:00 UTC, a Monday
LOOK_EACH = 5
"""Every so many steps all lamps are held against targets worked out from scratch: it costs more than the step."""
DAYLIGHT_STEP = 0.02
"""How far daylight may move a level that follows it between two steps of the grid: outdoor light by 1.25 a minute."""
SUN_STEP = 0.006
"""…and the sun alone."""
MOST_MESSAGES = 2
"""So many has the lamp's command that has most."""
MOST_ADVANCES = 20_000
BACK_SOON = 0.4
"""How often, at each step without a connection, it is next that it comes back: else trials pass in the dark."""
FLOOD = 400
MOST_WAITS = 40
BACK = {
    "studio": ("stair/pir", b"1"),
    "workshop": ("workshop/pir", b"on"),
    "stairs": ("stair/pir", b"1"),
    "bath": ("bath/pir", b"1"),
    "bedroom": ("bed/pir", b"1"),
}
"""What is heard when somebody comes into a room."""
DRIFT_US = 20_000
"""The wall clock slews by less than what counts as a step."""
SAYS: tuple[tuple[str, tuple[bytes, ...]], ...] = (
    ("workshop/radar", (b'{"target": true}', b'{"target": false}', b'{"target": 7}', b"{")),
    ("workshop/up", (b"up", b"lost")),
    ("workshop/pir", (b"on", b"off", b"motion", b"\xff")),
    ("workshop/cell", (b"90", b"5", b"nan")),
    ("workshop/wall", (b"short", b"double", b"long", b"up", b"down", b"triple")),
    ("stair/pir", (b"1", b"0")),
    ("bath/pir", (b"1", b"0")),
    ("bath/door", (b"open", b"closed")),
    ("bed/pir", (b"1",)),
    ("bed/button", (b"a", b"b")),
    ("weather/now", (b"0", b"100", b"55.5", b"-1")),
    ("roof/lux", (b"0", b"300", b"8000", b"90000", b"1e999")),
    ("studio/lux", (b"0", b"120", b"480.5", b"3000", b"dim", b"-3")),
)
WISHES: tuple[tuple[str, tuple[bytes, ...]], ...] = (
    (
        "hold",
        (
            b"toggle",
            b"start",
            b"END",
            b'{"hold": true, "level": 0.5, "kelvin": 3000}',
            b'{"hold": true, "level": 0, "for": "30s"}',
            b'{"hold": true, "for": "vacant"}',
            b'{"hold": true, "for": "day_part"}',
            b'{"hold": true, "for": "ever"}',
            b'{"hold": false}',
            b'{"hold": true, "level": 2}',
        ),
    ),
    ("ask", (b"light", b"dark", b"lots")),
    ("bias", (b"-0.15", b"0.3", b"0", b'{"bias": -0.9, "for": "1m"}', b'{"bias": 0.2, "for": "vacant"}', b"7")),
)
EVERYBODY_LEAVES = (
    ("workshop/up", b"up"),
    ("workshop/radar", b'{"target": false}'),
    ("workshop/pir", b"off"),
    ("stair/pir", b"0"),
    ("bath/pir", b"0"),
    ("bath/door", b"open"),
)


class Trial:
    """One seed's world."""

    def __init__(self, seed: int, say: Callable[[str], None] = lambda _: None) -> None:
        self.random = Random(seed)
        self.say = say
        self.building = draw(self.random)
        self.now = START
        self.counts: Counter[str] = Counter()
        self.calendar = Calendar(self.building)
        self.stepped = 0
        """When the wall clock was set last, steady ms."""
        self.boot = "first"
        self.folder: dict[str, bytes] = {}
        """Records as written."""
        self.kept: dict[str, bytes] = {}
        """What the broker keeps of the sensors that retain."""
        self.held_back: list[Message] = []
        self.flying: list[tuple[int, str, bytes]] = []
        self.lamps: dict[str, bytes] = {}
        """What each lamp has really been told, by topic."""
        self.last_told: dict[str, int] = {}
        self.hands_off: dict[str, int] = {}
        """Rooms in a hands-off hold → when it began."""
        self.holds: dict[str, HoldBegun] = {}
        self.ears: dict[str, list[Ear]] = {}
        """Lamps that take payloads apart, by topic."""
        self.linked = False
        self.window = 0
        """So many commands may be unacknowledged."""
        self.partings = Partings()
        self.left: dict[str, bytes] = {}
        """Topics of lamps that a reload has left behind → what they are to be left with."""
        self.clock_known = self.random.random() < 0.8
        self.controller = Controller(self.building, {}, self.boot, clock_known=self.clock_known)
        self.paces = {name: fixture.pace_ms for name, fixture in self.building.fixtures.items()}
        self.topics = {wire.topic for fixture in self.building.fixtures.values() for wire in fixture.messages}

    # ---- running -----------------------------------------------------------------------------------------------------

    def run(self, steps: int) -> None:
        self.connect()
        for _ in range(steps):
            self.step()
            self.strike_where_it_hurts()
        self.peace()

    def step(self) -> None:
        """One thing happens."""
        happens: tuple[tuple[int, Callable[[], None]], ...] = (
            (30, self.sensor_says),
            (8, self.person_wishes),
            (4, self.nonsense),
            (30, self.time_passes),
            (10, self.broker_acknowledges),
            (4, self.broker_lets_go),
            (8, self.connection_lost),
            (2, self.hold_into_a_burst),
            (2, self.somebody_comes_back),
            (1, self.nobody_ends_a_hold),
            (7, self.restart),
            (2, self.clock_steps),
            (2, self.clock_is_known),
            (2, self.reload),
            (3, self.flood),
            (1, self.broker_forgets),
        )
        weights = [weight for weight, _ in happens]
        [(_, happening)] = self.random.choices(happens, weights)
        if not self.linked and self.random.random() < BACK_SOON:
            happening = self.connect
        self.say(f"{self.now.steady:>12} {happening.__name__}")
        happening()

    def strike_where_it_hurts(self) -> None:
        """A fault inside a warning, a paced burst, a blend or a hold, more often than chance would have it."""
        if self.random.random() > 0.06:
            return
        tender = self.tender_spots()
        if tender:
            fault = self.random.choice((self.connection_lost, self.restart, self.clock_steps, self.reload))
            self.counts.update(f"fault in a {spot}" for spot in tender)
            self.say(f"{self.now.steady:>12} {fault.__name__}, where it hurts: {', '.join(tender)}")
            fault()

    def tender_spots(self) -> list[str]:
        rooms = list(self.controller._rooms.values())
        known = [room._occupancy for room in rooms]
        waiting = [slot.waiting for room in rooms for slot in room._outlet.slots.values()]
        spots = {
            "warning": any(occupancy.warned for occupancy in known),
            "paced burst": any(waiting) or len(self.flying) > 8,
            "blend": any(room.aiming.aim is not None and room.aiming.aim.blending for room in rooms),
            "hold": any(occupancy.hold is not None for occupancy in known),
        }
        return [spot for spot, there in spots.items() if there]

    def somebody_comes_back(self) -> None:
        """To a room that has just gone dark; where none has, the first grace that runs is waited for."""
        due = self.controller.due()
        for name, room in self.controller._rooms.items():
            if room._occupancy.state is State.GRACE and room._occupancy.hold is None and due is not None:
                for _ in range(MOST_WAITS):
                    if room._occupancy.state is not State.GRACE or not self.linked:
                        break
                    self.pass_time(MINUTE_MS // 2)
                if self.linked:
                    topic, payload = BACK[name]
                    self.take(self.controller.receive(Message(topic, payload), self.now))
                return

    def nobody_ends_a_hold(self) -> None:
        """One without end is forgotten for more than a day; once in a trial, for a day is long."""
        if self.counts["hold_forgotten"]:
            return
        holds = [room._occupancy.hold for room in self.controller._rooms.values()]
        if any(hold is not None and hold.ends == "ever" for hold in holds):
            self.pass_time(25 * HOUR_MS)

    def hold_into_a_burst(self) -> None:
        """Hands go off while a command still waits for its lamp's pace."""
        rooms = self.controller._rooms.items()
        waiting = [name for name, room in rooms if any(slot.waiting for slot in room._outlet.slots.values())]
        if waiting and self.linked:
            hold = Message(f"leerie/room/{self.random.choice(waiting)}/hold", b"start")
            self.take(self.controller.receive(hold, self.now))

    def flood(self) -> None:
        """Somebody's script has gone mad: the same again and again, and topics that nobody reads."""
        if not self.linked:
            return
        self.counts["floods"] += 1
        topic, payloads = self.random.choice(SAYS)
        payload = self.random.choice(payloads)
        for turn in range(FLOOD):
            strange = turn % 3 == 0
            message = Message(f"noise/{turn}" if strange else topic, payload)
            self.take(self.controller.receive(message, self.now), look=turn == FLOOD - 1)

    def broker_forgets(self) -> None:
        """It was started anew without its memory."""
        self.counts["broker forgets"] += 1
        self.kept.clear()
        self.connection_lost()

    def sensor_says(self) -> None:
        topic, payloads = self.random.choice(SAYS)
        payload = self.random.choice(payloads)
        if self.random.random() < 0.5:
            self.kept[topic] = payload
        self.arrives(Message(topic, payload))

    def person_wishes(self) -> None:
        wish, payloads = self.random.choice(WISHES)
        room = self.random.choice(list(self.building.rooms))
        retained = self.random.random() < 0.05
        self.arrives(Message(f"leerie/room/{room}/{wish}", self.random.choice(payloads), retained))

    def nonsense(self) -> None:
        self.counts["nonsense"] += 1
        filters = self.controller.filters()
        topic = self.random.choice([*filters, "some/where", ""])
        self.arrives(Message(topic, self.random.randbytes(self.random.randrange(40)), self.random.random() < 0.3))

    def arrives(self, message: Message) -> None:
        """On its way to us a message may be lost, doubled, or held back and overtaken."""
        if message.retained and message.topic.startswith("leerie/") and self.linked:
            outcome = self.controller.receive(message, self.now)
            acted = [note for note in outcome.notes if isinstance(note, HoldBegun | HoldEnded | Decided)]
            assert not acted, "an event that somebody left behind was obeyed"
            self.take(outcome)
            return
        fate = self.random.random()
        if not self.linked or fate < 0.05:
            return
        if fate < 0.15:
            self.held_back.append(message)
            return
        for _ in range(2 if fate < 0.25 else 1):
            self.take(self.controller.receive(message, self.now))

    def broker_lets_go(self) -> None:
        self.counts["overtaken"] += len(self.held_back) > 1
        self.random.shuffle(self.held_back)
        while self.held_back and self.linked:
            self.take(self.controller.receive(self.held_back.pop(), self.now))

    def time_passes(self) -> None:
        spans = (10, 150, SECOND_MS, 12 * SECOND_MS, MINUTE_MS, 12 * MINUTE_MS, 3 * HOUR_MS)
        self.pass_time(self.random.randrange(1, self.random.choice(spans) + 1))
        if self.random.random() < 0.1:
            due = self.controller.due()  # often just before, at, or just after something is due: that is where it hurts
            if due is not None and due > self.now.steady:
                self.pass_time(max(1, due - self.now.steady + self.random.choice([-1, 0, 1])))

    def pass_time(self, span_ms: int) -> None:
        """Wake the controller whenever it wants to be woken."""
        end = self.now.steady + span_ms
        for _ in range(MOST_ADVANCES):
            due = self.controller.due()
            if due is None or due > end:
                break
            self.to(max(due, self.now.steady))
            self.take(self.controller.advance(self.now))
            self.acknowledge_old()
        else:
            raise AssertionError("time does not pass: always something is due")
        self.to(end)
        if self.linked:
            self.newest_is_on_its_way(moving_only=True)

    def to(self, steady: int) -> None:
        """Time passes; the wall clock runs a little fast or slow."""
        self.counts["room_ms"] += (steady - self.now.steady) * len(self.building.rooms)
        self.now = self.now.at(steady)
        if self.random.random() < 0.02:
            self.now = Now(steady, self.now.wall + self.random.randrange(-DRIFT_US, DRIFT_US))

    def broker_acknowledges(self) -> None:
        for _ in range(self.random.randrange(len(self.flying) + 1)):
            self.deliver(0, ok=self.random.random() > 0.02)

    def acknowledge_old(self) -> None:
        """A broker that is there answers in the end; only how late is drawn."""
        while len(self.flying) >= min(self.window, 15):
            self.deliver(0, ok=True)

    def deliver(self, place: int, *, ok: bool) -> None:
        self.counts["events"] += 1
        ticket, topic, payload = self.flying.pop(place)
        if ok:
            self.lamps[topic] = payload
        self.controller.acknowledged(ticket, ok, self.now)
        self.nobody_starves()

    def connection_lost(self) -> None:
        self.counts["link losses"] += self.linked
        self.cut()

    def cut(self) -> None:
        if not self.linked:
            return
        self.linked = False
        for _, topic, payload in self.flying:
            if self.random.random() < 0.5:
                self.lamps[topic] = payload
        self.flying.clear()
        self.held_back.clear()
        self.controller.lost(self.now)

    def connect(self) -> None:
        if self.linked:
            return
        self.controller.linked(self.now)
        for topic, payload in self.kept.items():
            if self.random.random() < 0.01:
                self.settling_fails()
                return
            if self.random.random() < 0.9:
                self.take(self.controller.receive(Message(topic, payload, retained=True), self.now), settled=False)
        self.linked = True
        self.say_partings()
        self.settle(self.random.choice((AT_ONCE, AT_ONCE, 10, 1)))

    def settle(self, at_once: int) -> None:
        """What the broker kept is heard; it takes so many publishes at a time."""
        self.window = max(1, at_once - RETAINED_AT_ONCE)
        self.take(self.controller.settled(self.now, at_once), settling=True)

    def settling_fails(self) -> None:
        """While the broker tells what it has kept, the connection is lost again, or we are killed."""
        self.counts["fault in a settle"] += 1
        if self.random.random() < 0.5:
            self.controller.lost(self.now)
        else:
            self.restart()

    def restart(self) -> None:
        """Killed, and started again from what was written; sometimes the machine was booted, too."""
        self.counts["restarts"] += 1
        if self.random.random() < 0.5:
            self.pass_time(1_100)  # chatter is written within a second
            before = wishes_in(self.folder)
        else:
            before = None
        self.cut()
        self.last_told.clear()
        self.partings = Partings()  # nobody remembers over a restart which lamps a reload had left behind
        self.left.clear()
        self.stepped = 0
        if self.random.random() < 0.3:
            self.boot = f"boot{self.counts['restarts']}"
            self.now = Now(self.random.randrange(1, HOUR_MS), self.now.wall)
        self.clock_known = self.random.random() < 0.6
        self.controller = Controller(self.building, dict(self.folder), self.boot, clock_known=self.clock_known)
        self.controller.linked(self.now)
        if before is not None:
            assert wishes_in(self.folder) == before, "a restart lost what was written"

    def reload(self) -> None:
        """Another config, with other lengths, rules and sometimes rooms; the connection stands, or does not."""
        self.counts["reloads"] += 1
        self.take(self.controller.advance(self.now))
        memory = self.controller.handover(self.now)
        self.holds_are_remembered(memory)
        without = [room for room in LEAVABLE if self.random.random() < 0.15]
        # Acknowledgements of what the one before had sent are nobody's.
        for _ticket, topic, payload in self.flying:
            self.lamps[topic] = payload
        self.flying.clear()
        before, self.building = self.building, draw(self.random, without)
        for room in self.partings.part(before, self.building, memory):
            self.folder.pop(room, None)
            self.hands_off.pop(room, None)
            self.holds.pop(room, None)
            for lamp in LEAVABLE[room]:
                self.last_told.pop(lamp, None)  # it is told off beside its pace, by nobody's room
        self.calendar = Calendar(self.building)
        self.ears.clear()
        self.topics = {wire.topic for fixture in self.building.fixtures.values() for wire in fixture.messages}
        self.left.update(self.partings._owed)
        self.left = {topic: payload for topic, payload in self.left.items() if topic not in self.topics}
        if self.linked:
            self.say_partings()
        self.paces = {name: fixture.pace_ms for name, fixture in self.building.fixtures.items()}
        self.controller = Controller(self.building, memory, self.boot, clock_known=self.clock_known)
        self.controller.linked(self.now)
        after = wishes_in(self.controller.handover(self.now))
        kept = {name: wishes for name, wishes in wishes_in(memory).items() if name in after}
        assert {name: after[name] for name in kept} == kept, "a reload lost what was known"
        if self.linked:
            self.settle(self.window + RETAINED_AT_ONCE)

    def say_partings(self) -> None:
        for publish in self.partings.say():
            self.counts["told off at a parting"] += 1
            self.lamps[publish.topic] = publish.payload

    def holds_are_remembered(self, memory: Mapping[str, bytes]) -> None:
        """What rooms know of holds is what was told of them."""
        held = {name for name, (_, hold, *_) in wishes_in(memory).items() if hold is not None}
        assert held == self.holds.keys() & memory.keys(), f"held: {held}; told: {self.holds.keys()}"

    def clock_is_known(self) -> None:
        """Somebody, or ten minutes, has told us that the wall clock is right."""
        before = self.clock_known
        self.clock_known = True
        self.take(self.controller.clock_known(self.now))
        self.counts["clock found right"] += not before

    def clock_steps(self) -> None:
        self.counts["clock steps"] += 1
        step_ms = self.random.choice([-1, 1]) * self.random.choice([5 * SECOND_MS, HOUR_MS, 9 * HOUR_MS, 3 * DAY_MS])
        self.now = Now(self.now.steady, max(START.wall // 2, self.now.wall + step_ms * 1_000))
        self.stepped = self.now.steady
        self.take(self.controller.advance(self.now))

    # ---- invariants --------------------------------------------------------------------------------------------------

    def take(self, outcome: Outcome, *, settled: bool = True, settling: bool = False, look: bool = True) -> None:
        """Hand over what the controller said, and hold it against what must never happen."""
        assert settled or not outcome.commands, "commanded before everything kept had arrived"
        assert self.linked or not outcome.commands, "commanded without a connection"
        self.counts["events"] += 1
        began = {note.room for note in outcome.notes if isinstance(note, HoldBegun)}
        for note in outcome.notes:
            self.noted(note, began, settling=settling)
        for room in outcome.records:
            self.folder[room] = self.controller.memory(room)
        before = len(self.flying)
        for publish in outcome.commands:
            assert publish.topic in self.topics, "a command to nobody"
            assert self.understood(publish), f"{publish.payload!r} does not say all that its lamp must know"
            assert 0 < publish.expiry_s <= 300, "a command that outlives its refresh"
            self.flying.append((publish.ticket, publish.topic, publish.payload))
        told = [note for note in outcome.notes if isinstance(note, Commanded)]
        last_words = sum(note.publishes for note in told if note.room in self.hands_off or note.room in began)
        most = max(self.window, MOST_MESSAGES if before == 0 else before) + last_words
        assert len(self.flying) <= most, "more in flight than the window holds"
        self.nobody_starves()
        assert len(self.controller._queue) <= 2 * len(self.building.rooms) + 8, "the queue grows"

        if not look:
            return
        self.counts["taken"] += 1
        if settled and self.linked:
            often = self.counts["taken"] % LOOK_EACH != 0
            self.newest_is_on_its_way(moving_only=often, touched_only=often)

    def nobody_starves(self) -> None:
        """Nothing is in flight any more: whoever waits is looked at as soon as its lamp's pace allows."""
        if not self.linked or self.flying:
            return
        for name, room in self.controller._rooms.items():
            for lamp, slot in room._outlet.slots.items():
                if slot.waiting is not None:
                    moment = max(self.now.steady, next_allowed(slot, self.paces[lamp]))
                    assert self.controller._queued.get(name, moment + 1) <= moment, f"{lamp} waits for nothing"

    def understood(self, publish: Publish) -> bool:
        """The lamp itself, which knows nothing of us, can make something of it."""
        lamps = self.ears.get(publish.topic)
        if lamps is None:
            fixtures = self.building.fixtures.values()
            lamps = [Ear(fixture) for fixture in fixtures if publish.topic in Ear(fixture).topics]
            self.ears[publish.topic] = lamps
        return any(lamp.hear(publish.topic, publish.payload) for lamp in lamps)

    def noted(self, note: Note, began: set[str], *, settling: bool) -> None:
        self.counts[type(note).__name__] += 1
        match note:
            case Moved():
                self.counts[f"moved by {note.event}"] += 1
                assert OCCUPANCY[State(note.before)][Event(note.event)] == note.after, "moved outside the table"
            case HoldBegun():
                self.holds[note.room] = note
                self.hands_off.pop(note.room, None)
                if note.level is None:
                    self.hands_off[note.room] = self.now.steady
            case HoldEnded():
                self.hold_ended(note)
            case Faulted():
                self.counts[note.fault.code] += 1
            case Commanded():
                self.commanded(note, began, settling=settling)

    def newest_is_on_its_way(self, *, moving_only: bool, touched_only: bool = False) -> None:
        """What a lamp was last told, or waits to be told, is what its room wants; while it glides, within a step."""
        for name, room in self.controller._rooms.items():
            aiming = room.aiming
            if moving_only and (
                aiming.aim is None or not aiming.aim.moving or (touched_only and room._now != self.now)
            ):
                continue
            holding = self.calendar.holding(self.building.rooms[name].parts, self.now.wall)
            if not self.clock_known:
                holding = room._course.holding
                assert holding.stand_in or not room._course.remembered[0], "a day part holds by a clock nobody trusts"
                self.counts[f"the {holding.stand_in} part stands in"] += 1
            self.counts[f"part {holding.part}"] += 1
            self.counts["enclosed"] += room._occupancy.latch is not None
            if room._now != self.now and not moving_only:
                continue
            day = day_of(holding, self.building.parts, self.now.wall)
            here = aiming.here(self.now, self.controller._skies)
            aim = aiming._targets.aim(room._occupancy, day, here)
            self.counts["moving"] += aim.moving
            self.counts["blending"] += bool(aim.blending)
            self.counts["unfinished blends"] += len(day.glides) > 1
            step = self.may_lag(room, holding, here, moving=aim.moving)
            for target in aim.targets or ():
                self.counts.update(type(why).__name__ for why in target.reason.steps)
                by_meter = any(isinstance(why, Maintains) and why.by == "meter" for why in target.reason.steps)
                self.counts["by meter"] += by_meter
                slot = room._outlet.slots[target.lamp]
                newest = slot.waiting or slot.told
                assert newest is not None, f"{target.lamp} is left out"
                if step is None or (aim.moving and any(isinstance(why, Maintains) for why in target.reason.steps)):
                    continue  # how far a step of the grid takes these hangs on the room; another test holds them
                off = abs(newest.level - target.level)
                assert off < LEVEL_STEP + step, f"{target.lamp}: an old command wins by {off:.3f}"

    def may_lag(self, room: Any, holding: Holding, here: heres.Here, *, moving: bool) -> float | None:
        """How far a level may have to go since the last step of the grid; None: any way."""
        aiming, drift_ms = room.aiming, self.building.service.drift_ms
        if self.now.steady // drift_ms == self.stepped // drift_ms:
            return None  # the wall clock was set: the sun, or a blend, stands elsewhere from the next step of the grid
        then = self.now.wall - 1_000 * drift_ms
        if day_of(holding, self.building.parts, then).glides:
            return None
        metered = aiming._metered
        if metered is not None and metered.reading is not None:
            return None  # it has its say at the next step of the grid
        due = aiming.due
        assert not moving or due is None or due > self.now.steady - 1, f"{room.name} is late to look"
        sky = self.controller._skies.at(self.now)
        return 0.0 if not moving else SUN_STEP if here.outdoor == sky.outdoor else DAYLIGHT_STEP

    def hold_ended(self, note: HoldEnded) -> None:
        self.hands_off.pop(note.room, None)
        begun = self.holds.pop(note.room, None)
        if note.why == "time" and begun is not None:
            held_ms = note.at.steady - begun.at.steady
            if held_ms > 0 and self.boot == "first":
                allowed = {30 * SECOND_MS, 2 * MINUTE_MS, 4 * HOUR_MS}
                assert held_ms in allowed, f"a clock step bent a hold to {held_ms} ms"

    def commanded(self, note: Commanded, began: set[str], *, settling: bool) -> None:
        since = self.hands_off.get(note.room)
        if since is not None:
            assert note.cause == "hold", f"{note.fixture} commanded ({note.cause}) in a hands-off hold"
            assert note.room in began or settling, f"{note.fixture} commanded too late after hands went off"
        last = self.last_told.get(note.fixture)
        last_words = since is not None  # the scene, before hands go off: it cannot wait for the lamp's pace
        if last is not None and not last_words:
            assert self.now.steady - last >= self.paces[note.fixture], f"{note.fixture} told faster than its pace"
        self.last_told[note.fixture] = self.now.steady

    # ---- peace -------------------------------------------------------------------------------------------------------

    def peace(self) -> None:
        """Faults stop: everybody leaves, holds end, and in bounded time every lamp is what its room's record says."""
        while not self.linked:
            self.connect()
        self.clock_is_known()
        self.broker_lets_go()
        for topic, payload in EVERYBODY_LEAVES:
            self.take(self.controller.receive(Message(topic, payload), self.now))
        for room in self.building.rooms:
            self.take(self.controller.receive(Message(f"leerie/room/{room}/hold", b"end"), self.now))
        for _ in range(40):
            self.pass_time(2 * MINUTE_MS)
            for topic, payload in (("stair/pir", b"0"), ("workshop/radar", b'{"target": false}')):
                self.take(self.controller.receive(Message(topic, payload), self.now))
            while self.flying:
                self.deliver(0, ok=True)
            self.take(self.controller.advance(self.now))
        self.pass_time(61_000)
        while self.flying:
            self.deliver(0, ok=True)
        self.settled_right()

    def settled_right(self) -> None:
        for topic, payload in self.left.items():
            assert self.lamps.get(topic) == payload, f"{topic}, which nobody commands any more, was not told off"
        now = self.controller.handover(self.now)
        for name, room in self.building.rooms.items():
            record, newest = records.decode(self.folder[name]), records.decode(now[name])
            assert record is not None
            assert newest is not None
            assert record.occupancy.state is State.VACANT, f"{name} is still {record.occupancy.state} with nobody there"
            holding = self.calendar.holding(room.parts, self.now.wall)
            day = day_of(holding, self.building.parts, self.now.wall)
            here = heres.newest(self.controller._skies.at(self.now), room, None, self.now)
            aim = RoomTargets(self.building, name).aim(record.occupancy, day, here)
            for target in aim.targets or ():
                told = newest.slots[target.lamp].told  # what is written of it may be a minute old
                assert told is not None, f"{target.lamp} was never told"
                assert abs(told.level - target.level) < LEVEL_STEP, f"{target.lamp} stuck at {told.level}"
                fixture = self.building.fixtures[target.lamp]
                fades = (fixture.fade_up_ms, fixture.fade_down_ms)
                possible = [Lamp(fixture).messages(told.level, told.kelvin, fade, told.xy) for fade in fades]
                heard = tuple((wire.topic, self.lamps.get(wire.topic)) for wire in fixture.messages)
                assert heard in possible, f"{target.lamp} shows {heard}, not {possible}"


def wishes_in(memory: Mapping[str, bytes]) -> dict[str, Any]:
    """What nobody may lose, room by room."""
    found = {}
    for name, body in memory.items():
        record = records.decode(body)
        assert record is not None, "a record that we wrote cannot be read"
        known = record.occupancy
        found[name] = (known.state, known.hold, known.asked, known.bias)
    return found
