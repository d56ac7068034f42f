"""The real controller against a second, slow and obvious room: whatever happens, both must agree."""

from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from play import Play, building, day_part, lamp, room, sensor
from slow_room import AUTO_ON, CLEARS, CONFIRM, HOLD_FOR, PASS, SCENES, STUCK, WARN_BEFORE, WARN_LEVEL, Ends, SlowRoom

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


def house(graces: dict[str, int]) -> Building:
    return building(
        sensor("radar", stuck=s(STUCK)),
        sensor("pir", "motion", clears=s(CLEARS)),
        sensor("desk", stuck=s(STUCK)),
        lamp("bench"),
        lamp("glow"),
        room(
            "workshop",
            {**{part: {"bench": level} for part, level in SCENES.items()}, "vacant": {"glow": 0.1}},
            {"night": {"sensors": ["pir"], "grace": s(graces["night"])}},
            sensors=["radar", "pir"],
            keep=["desk"],
            confirm=s(CONFIRM),
            pass_through=s(PASS),
            grace=s(graces["day"]),
            warn={"before": s(WARN_BEFORE), "level": WARN_LEVEL},
            relight="60s",
            hold_for=s(HOLD_FOR),
            auto_on=AUTO_ON,
        ),
        days=day_part("day", "08:00") + day_part("night", "23:00"),
    )


class BothRooms(RuleBasedStateMachine):
    """Everything happens to both, at whole seconds; they are compared a little later, when each lamp had its turn."""

    late_ms = 0
    """How long ago the whole second was."""

    @initialize(hour=st.sampled_from([7, 10, 21, 22]))
    def begin(self, hour: int) -> None:
        self.real = Play(house(GRACES[0]), f"2026-03-02T{hour:02}:00")
        self.real.pass_("45m")
        self.slow = SlowRoom(hour * 3600 + 45 * 60, GRACES[0])
        self.zero = self.real.now.wall - self.slow.t * 1_000_000

    def live(self, seconds: int) -> None:
        self.real.pass_(render(seconds * 1_000 - self.late_ms))
        self.late_ms = 0
        for _ in range(seconds):
            self.slow.second()

    def all_leave(self, when: int) -> None:
        """Nobody is seen any more, and time passes until `when` seconds after the end of the grace."""
        for name in ("radar", "pir", "desk"):
            self.a_sensor_says(name, False)
        self.live(max(1, (self.slow.ends_at() or self.slow.t) - self.slow.t + when - 1))

    def say(self, topic: str, payload: Any, *, retained: bool = False) -> None:
        self.real.say(topic, payload, retained=retained)
        self.real.pass_("0s")

    @rule(seconds=st.sampled_from(SPANS))
    def time_passes(self, seconds: int) -> None:
        self.live(seconds)

    @rule(name=st.sampled_from(["radar", "pir", "desk"]), present=st.booleans())
    def a_sensor_says(self, name: str, present: bool) -> None:
        self.live(1)
        self.say(name, present)
        self.slow.says(name, present)

    @rule(name=st.sampled_from(["radar", "desk"]), present=st.booleans())
    def the_broker_had_kept(self, name: str, present: bool) -> None:
        self.live(1)
        self.say(name, present, retained=True)
        self.slow.says(name, present, kept=True)

    @rule(
        passing=st.booleans(),
        when=st.sampled_from([-29, -1, 1, 59, 60, 61]),
        what=st.sampled_from(["radar", "pir", "desk", "hold"]),
    )
    def all_leave_and_then(self, passing: bool, when: int, what: str) -> None:
        """After use, or after somebody only passed through: around the second at which it goes dark."""
        if passing:
            self.all_leave(61)
            self.a_sensor_says("pir", True)
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

    @rule(graces=st.sampled_from(GRACES))
    def it_reloads(self, graces: dict[str, int]) -> None:
        """After a quiet minute: by then everything has been written."""
        self.live(61)
        self.real.restart(house(graces))
        self.slow.reloads(graces)

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
        assert self.real.levels == pytest.approx(slow.lamps)


TestBothRooms = BothRooms.TestCase
TestBothRooms.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
