"""The real controller against a second, slow and obvious room: whatever happens, both must agree."""

from typing import Any, ClassVar

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from play import Play, building, day_part, lamp, room, sensor
from slow_room import BUTTON, CONFIRM, HOLD_FOR, PASS, SCENES, WARN_BEFORE, WARN_LEVEL, Ends, SlowRoom
from slow_special_rooms import (
    ALIVE,
    SETTLE,
    Bathroom,
    EscapeRoute,
    FailingAsItWas,
    FailingBright,
    FailingRoom,
    HeldOverBathroom,
    PulsedBathroom,
    WatchedBathroom,
)

from leerie.config.building import Building
from leerie.config.durations import render

GRACES = ({"day": 600, "night": 180}, {"day": 900, "night": 180}, {"day": 240, "night": 120})
SPANS = (1, 4, 9, 10, 19, 20, 29, 30, 60, 61, 119, 120, 150, 210, 569, 570, 600, 3540, 3600, 5 * 3600)
ENDS: tuple[tuple[str, Ends], ...] = (
    ("5m", 300), ("90m", 5400), ("vacant", "vacant"), ("day_part", "day_part"), ("ever", "ever"),
)  # fmt: skip
PACE_MS = 200
STATES = {"grace after arriving": "grace", "grace after occupied": "grace"}


def s(seconds: int) -> str:
    return render(seconds * 1_000)


def eye(kind: type[SlowRoom], name: str, **keys: Any) -> str:
    clears = {"clears": s(kind.clears[name])} if name in kind.clears else {}
    motion = "motion" if name in kind.motion else "presence"
    return sensor(name, motion, **{"stuck": s(kind.stuck_after), **clears, **keys})


def workshop(kind: type[SlowRoom], graces: dict[str, int], *stanzas: str, **keys: Any) -> Building:
    """The room as the slow one has it; `stanzas`: its sensors but the button."""
    plain = {
        "confirm": s(CONFIRM),
        "pass_through": s(PASS),
        "grace": s(graces["day"]),
        "warn": {"before": s(WARN_BEFORE), "level": WARN_LEVEL},
        "relight": s(kind.relight),
        "hold_for": s(HOLD_FOR),
        "auto_on": kind.auto_on,
        "sensors": [*kind.sensors["day"], "button"],
        "keep": kind.keep,
    }
    return building(
        *stanzas,
        sensor("button", "button", does=BUTTON),
        lamp("bench"),
        lamp("glow"),
        room(
            "workshop",
            {**{part: {"bench": level} for part, level in SCENES.items()}, "vacant": {"glow": 0.1}},
            {"night": {"sensors": [*kind.sensors["night"], "button"], "grace": s(graces["night"])}},
            **{**plain, **keys},
        ),
        days=day_part("day", "08:00") + day_part("night", "23:00"),
    )


def online(name: str) -> dict[str, Any]:
    return {"topic": f"{name}_online", "present": [True], "absent": [False]}


eyes = st.runner().flatmap(lambda machine: st.sampled_from(machine.slow.eyes))
kinds = st.runner().flatmap(lambda machine: st.sampled_from(machine.rooms))


class BothRooms(RuleBasedStateMachine):
    """Everything happens to both, at whole seconds; they are compared a little later, when each lamp had its turn."""

    rooms: ClassVar[tuple[type[SlowRoom], ...]] = (SlowRoom,)
    late_ms = 0
    """How long ago the whole second was."""

    def house(self, kind: type[SlowRoom], graces: dict[str, int]) -> Building:
        return workshop(kind, graces, *(eye(kind, name) for name in kind.eyes))

    @initialize(kind=kinds, hour=st.sampled_from([7, 10, 21, 22]))
    def begin(self, kind: type[SlowRoom], hour: int) -> None:
        self.real = Play(self.house(kind, GRACES[0]), f"2026-03-02T{hour:02}:00")
        self.real.pass_("45m")
        self.slow = kind(hour * 3600 + 45 * 60, GRACES[0])
        self.zero = self.real.now.wall - self.slow.t * 1_000_000

    def live(self, seconds: int) -> None:
        self.real.pass_(render(seconds * 1_000 - self.late_ms))
        self.late_ms = 0
        for _ in range(seconds):
            self.slow.second()

    def all_leave(self, when: int) -> None:
        """Nobody is seen any more, and time passes until `when` seconds after the end of the grace."""
        for name in self.slow.eyes:
            self.a_sensor_says(name, False)
        self.live(max(1, (self.slow.ends_at() or self.slow.t) - self.slow.t + when - 1))

    def say(self, topic: str, payload: Any, *, retained: bool = False) -> None:
        self.real.say(topic, payload, retained=retained)
        self.real.pass_("0s")

    @rule(seconds=st.sampled_from(SPANS))
    def time_passes(self, seconds: int) -> None:
        self.live(seconds)

    @rule(name=eyes, present=st.booleans())
    def a_sensor_says(self, name: str, present: bool) -> None:
        self.live(1)
        self.say(name, present)
        self.slow.says(name, present)

    @rule(name=eyes, present=st.booleans())
    def the_broker_had_kept(self, name: str, present: bool) -> None:
        self.live(1)
        self.say(name, present, retained=True)
        if not (present and name in self.slow.motion):  # a pulse of long ago is refused
            self.slow.says(name, present, kept=True)

    @rule(
        passing=st.booleans(),
        when=st.sampled_from([-29, -1, 0, 1, 59, 60, 61]),
        what=eyes | st.just("hold"),
    )
    def all_leave_and_then(self, passing: bool, when: int, what: str) -> None:
        """After use, or after somebody only passed through: around the second at which it goes dark."""
        if passing:
            self.all_leave(61)
            self.a_sensor_says(self.slow.sensors["night"][-1], True)
        self.all_leave(when)
        if what == "hold":
            self.somebody_holds("start")
        else:
            self.a_sensor_says(what, True)

    @rule(what=st.sampled_from(["light", "dark"]))
    def somebody_asks(self, what: str) -> None:
        self.live(1)
        self.say("leerie/room/workshop/ask", what)
        self.slow.asks(what)

    @rule(action=st.sampled_from(["start", "end", "toggle"]))
    def somebody_holds(self, action: str) -> None:
        self.live(1)
        self.say("leerie/room/workshop/hold", action)
        self.slow.holds(action)

    @rule(ends=st.sampled_from(ENDS), level=st.sampled_from([None, 0, 0.3, 0.8]))
    def somebody_holds_for(self, ends: tuple[str, Ends], level: float | None) -> None:
        self.live(1)
        wish = {"hold": True, "for": ends[0]} | ({} if level is None else {"level": level})
        self.say("leerie/room/workshop/hold", wish)
        self.slow.holds("start", ends[1], level)

    @rule(ends=st.sampled_from(ENDS), bias=st.sampled_from([-0.5, 0, 0.5]))
    def somebody_biases(self, ends: tuple[str, Ends], bias: float) -> None:
        self.live(1)
        self.say("leerie/room/workshop/bias", {"bias": bias, "for": ends[0]})
        self.slow.biases(bias, ends[1])

    @rule(word=st.sampled_from([*BUTTON, "thrice"]), kept=st.booleans())
    def somebody_presses(self, word: str, kept: bool) -> None:
        """A press that the broker had kept is refused, a word without a meaning ignored."""
        self.live(1)
        self.say("button", word, retained=kept)
        if not kept:
            self.slow.presses(word)

    @rule(graces=st.sampled_from(GRACES))
    def it_reloads(self, graces: dict[str, int]) -> None:
        """After a quiet minute: by then everything has been written."""
        self.live(61)
        self.real.restart(self.house(type(self.slow), graces))
        self.slow.reloads(graces)

    def faulty(self, code: str) -> list[str]:
        return sorted(fault.what for fault in self.real.view().faults if fault.code == code)

    @invariant()
    def both_agree(self) -> None:
        if not hasattr(self, "real"):
            return
        self.real.pass_(render(PACE_MS - self.late_ms))
        self.late_ms = PACE_MS
        view, slow = self.real.view(), self.slow
        state = STATES.get(slow.state, slow.state)
        assert view.occupancy == state
        assert view.state == ("hold" if slow.hold else state)
        assert view.until == (None if slow.until is None else self.zero + slow.until * 1_000_000)
        assert (view.asked, view.bias) == (slow.asked, slow.bias.bias if slow.bias else 0.0)
        assert (view.hold and view.hold.level) == (slow.hold and slow.hold.level)
        assert view.part == slow.part
        assert self.faulty("sensor_stuck") == sorted(slow.stuck)
        assert self.real.levels == pytest.approx(slow.lamps)


class BothBathrooms(BothRooms):
    """A door and one sensor, which tells of people in one of three ways."""

    rooms = (PulsedBathroom, WatchedBathroom, HeldOverBathroom)
    slow: Bathroom

    def house(self, kind: type[SlowRoom], graces: dict[str, int]) -> Building:
        door = sensor("door", "door", online=online("door"))
        return workshop(kind, graces, door, eye(kind, "eye"), enclosed=True, settle=s(SETTLE))

    @rule(is_open=st.booleans(), kept=st.booleans())
    def the_door_says(self, is_open: bool, kept: bool) -> None:
        self.live(1)
        self.say("door", "open" if is_open else "closed", retained=kept)
        self.slow.door_says(is_open, kept)

    @rule(up=st.booleans())
    def the_door_sensor_is(self, up: bool) -> None:
        self.live(1)
        self.say("door_online", up)
        self.slow.door_is(up)

    @rule(
        seen_before=st.booleans(),
        after=st.sampled_from([1, 9, 10, 11, 29, 30, 31]),
        present=st.booleans(),
        lost=st.booleans(),
        still=st.sampled_from([1, 20, 25, 3600]),
    )
    def somebody_shuts_the_door(self, seen_before: bool, after: int, present: bool, lost: bool, still: int) -> None:
        """And is seen, or no longer seen, some time after, and then sits still; perhaps the door's sensor is lost."""
        self.the_door_says(True, False)
        if seen_before:
            self.a_sensor_says("eye", True)
        self.the_door_says(False, False)
        self.live(after - 1)
        self.a_sensor_says("eye", present)
        if lost:
            self.the_door_sensor_is(False)
        self.live(still)
        self.a_sensor_says("eye", False)


class BothFailing(BothRooms):
    """Sensors and the connection come and go."""

    rooms = (FailingRoom, FailingBright, FailingAsItWas)
    slow: FailingRoom

    def house(self, kind: type[SlowRoom], graces: dict[str, int]) -> Building:
        assert issubclass(kind, FailingRoom)
        alive = {name: {"alive": s(seconds)} for name, seconds in ALIVE.items()}
        sensors = [eye(kind, name, online=online(name), **alive.get(name, {})) for name in kind.eyes]
        return workshop(kind, graces, *sensors, if_blind=kind.if_blind)

    @rule(name=eyes, up=st.booleans())
    def a_sensor_is(self, name: str, up: bool) -> None:
        self.live(1)
        self.say(f"{name}_online", up)
        self.slow.is_online(name, up)

    @rule(first=eyes, sees=st.booleans(), silently=st.booleans(), blind=st.sampled_from([1, 9, 10, 130, 3599, 3600]))
    def all_go_out(self, first: str, sees: bool, silently: bool, blind: int) -> None:
        """One after the other, perhaps just after somebody was seen."""
        for name in (first, *self.slow.eyes):
            if sees and name == first:
                self.a_sensor_says(name, True)
            if not silently or name not in ALIVE:
                self.a_sensor_is(name, False)
        if silently:
            self.live(max(ALIVE.values()))
        self.live(blind)

    @rule(seconds=st.sampled_from(SPANS))
    def the_connection_goes_for(self, seconds: int) -> None:
        self.live(1)
        self.real.controller.lost(self.real.now)
        self.slow.connected = False
        self.live(seconds)
        self.real.reconnect()
        self.slow.reconnects()

    @invariant()
    def both_know_who_is_out(self) -> None:
        if hasattr(self, "real"):
            assert self.faulty("sensor_out") == sorted(self.slow.out)
            assert bool(self.faulty("room_blind")) is (self.slow.blind is not None)


class BothEscapeRoutes(BothRooms):
    """A way that must never be dark."""

    rooms = (EscapeRoute,)
    slow: EscapeRoute

    def house(self, kind: type[SlowRoom], graces: dict[str, int]) -> Building:
        return workshop(kind, graces, *(eye(kind, name) for name in kind.eyes), egress=True)

    @rule()
    def it_stops_and_begins_again(self) -> None:
        """A clean stop leaves it lit, or as hands off it left it."""
        self.live(61)
        self.real.farewell()
        assert self.real.levels == pytest.approx(self.slow.left_behind())
        self.real.restart()

    @invariant()
    def never_dark(self) -> None:
        assert not hasattr(self, "real") or max(self.real.levels.values()) > 0


def case(machine: type[BothRooms]) -> Any:
    test = machine.TestCase
    test.settings = settings(max_examples=30, stateful_step_count=40, deadline=None)
    return test


TestBothRooms = case(BothRooms)
TestBothBathrooms = case(BothBathrooms)
TestBothFailing = case(BothFailing)
TestBothEscapeRoutes = case(BothEscapeRoutes)
