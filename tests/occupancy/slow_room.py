"""One room, worked out the slow and obvious way: it lives through every second and remembers only when things began.

Nothing of the real machinery is used. Lengths are whole seconds, and so are all instants.
"""

from typing import ClassVar, Literal, NamedTuple

Ends = int | Literal["vacant", "day_part", "ever"]

DAY_S = 86_400
CONFIRM, PASS, WARN_BEFORE, WARN_LEVEL, RELIGHT, CLEARS, STUCK, HOLD_FOR = 10, 120, 30, 0.5, 60, 20, 3600, 3600
AUTO_ON = 0.7
SCENES = {"day": 0.8, "night": 0.2}
BEGINS = {"day": 8 * 3600, "night": 23 * 3600}
BUTTON = {"short": "ask light", "double": "ask dark", "long": "hold toggle", "up": "raise", "down": "lower"}
STEP, DIMMEST, BRIGHTEST = 0.1, -0.9, 1.0


class Hold(NamedTuple):
    since: int
    ends: Ends
    level: float | None


class Bias(NamedTuple):
    since: int
    ends: Ends
    bias: float


class Past(NamedTuple):
    at: int
    asked: str | None
    bias: Bias | None


class SlowRoom:
    """A vacant room at a second of the day."""

    sensors: ClassVar[dict[str, tuple[str, ...]]] = {"day": ("radar", "pir"), "night": ("pir",)}
    """Those that bring light, by day part."""
    keep: ClassVar[tuple[str, ...]] = ("desk",)
    eyes: ClassVar[tuple[str, ...]] = ("radar", "pir", "desk")
    motion: ClassVar[tuple[str, ...]] = ("pir",)
    clears: ClassVar[dict[str, int]] = {"pir": CLEARS}
    stuck_after = STUCK
    auto_on = AUTO_ON
    relight = RELIGHT

    def __init__(self, second: int, graces: dict[str, int]) -> None:
        self.t = second
        self.graces = graces
        """Seconds of grace by the day part in which it began."""
        self.state = "vacant"
        self.since = second
        self.began_in = self.part
        self.came = 0
        """First evidence of this arrival."""
        self.said: dict[str, bool] = {}
        self.seen: dict[str, tuple[int, int]] = {}
        """Sensors that are believed to be present: since when, and when last heard."""
        self.stuck: list[str] = []
        self.hold: Hold | None = None
        self.asked: str | None = None
        self.bias: Bias | None = None
        self.past = Past(-DAY_S, None, None)
        self.lamps = self.wanted()

    # ---- what is seen of it ------------------------------------------------------------------------------------------

    @property
    def part(self) -> str:
        return "day" if BEGINS["day"] <= self.t % DAY_S < BEGINS["night"] else "night"

    @property
    def until(self) -> int | None:
        if self.hold is not None:
            return self.hold.since + self.hold.ends if isinstance(self.hold.ends, int) else None
        if self.state == "arriving" and self.confirmers():
            return self.came + CONFIRM
        return self.ends_at()

    @property
    def warned(self) -> bool:
        end = self.ends_at()
        return self.state == "grace after occupied" and end is not None and self.t >= end - WARN_BEFORE

    def ends_at(self) -> int | None:
        if self.state == "grace after arriving":
            return self.since + PASS
        if self.state == "grace after occupied":
            return self.since + self.graces[self.began_in]
        return None

    def wanted(self) -> dict[str, float]:
        """What the lamps should be; in a hands-off hold what they were."""
        if self.hold is not None:
            return self.lamps if self.hold.level is None else {"bench": self.hold.level, "glow": 0.0}
        return self.automatic(warned=self.warned)

    def automatic(self, *, warned: bool) -> dict[str, float]:
        if self.state == "vacant":
            return {"bench": 0.0, "glow": 0.1}
        if self.asked == "dark":
            return {"bench": 0.0, "glow": 0.0}
        level = min(1.0, SCENES[self.part] * (1 + (self.bias.bias if self.bias else 0.0)))
        share = (1.0 if self.asked == "light" else self.auto_on) * (WARN_LEVEL if warned else 1.0)
        return {"bench": level * share, "glow": 0.0}

    # ---- time --------------------------------------------------------------------------------------------------------

    def second(self) -> None:
        part = self.part
        self.t += 1
        now_part = self.part
        self.sensors_tire()
        self.last_ends()
        self.time_is_up(part)
        self.wishes_end(self.t)
        if part != now_part:
            for name in [name for name in self.seen if name not in (*self.sensors[now_part], *self.keep)]:
                del self.seen[name]
            self.last_ends()
            self.wishes_end("day_part")
        self.lamps = self.wanted()

    def sensors_tire(self) -> None:
        for name, (first, last) in list(self.seen.items()):
            if name in self.clears and self.t >= last + self.clears[name]:
                del self.seen[name]
            elif name not in self.motion and self.t >= first + self.stuck_after:
                del self.seen[name]
                self.stuck.append(name)

    def kept(self) -> bool:
        """Does anything keep the room in use?"""
        return bool(self.seen)

    def last_ends(self) -> None:
        if not self.kept():
            if self.state == "arriving":
                self.become("grace after arriving")
            elif self.state == "occupied":
                self.become("grace after occupied")

    def time_is_up(self, part: str) -> None:
        """`part`: what holds until anything else begins at this second."""
        if self.state == "arriving" and self.confirmers() and self.t >= self.came + CONFIRM:
            self.become("occupied", part)
        end = self.ends_at()
        if end is not None and self.t >= end:
            self.become("vacant", part)
            dropped = self.bias if self.bias and self.bias.ends == "vacant" else None
            self.past = Past(self.t, self.asked, dropped)
            self.asked = None
            self.wishes_end("vacant")

    def confirmers(self) -> list[str]:
        return [name for name in self.seen if name not in self.motion]

    def wishes_end(self, what: int | str) -> None:
        if self.hold is not None and _over(self.hold, what):
            self.hold = None
        if self.bias is not None and _over(self.bias, what):
            self.bias = None

    def become(self, state: str, part: str | None = None) -> None:
        if self.state == "vacant":
            self.came = self.t
        self.state, self.since, self.began_in = state, self.t, part or self.part

    # ---- messages ----------------------------------------------------------------------------------------------------

    def says(self, name: str, present: bool, kept: bool = False) -> None:
        if kept and self.said.get(name) is present:
            return
        self.said[name] = present
        if not present:
            self.seen.pop(name, None)
            self.stuck = [other for other in self.stuck if other != name]
            self.last_ends()
        elif name not in self.stuck and name in (*self.sensors[self.part], *self.keep):
            self.seen[name] = (self.seen.get(name, (self.t, 0))[0], self.t)
            if name in self.keep:
                self.keeps()
            else:
                self.evidence(sure=kept)
        self.time_is_up(self.part)
        self.lamps = self.wanted()

    def keeps(self) -> None:
        if self.state.startswith("grace"):
            self.become("occupied")

    def evidence(self, sure: bool) -> None:
        if self.state == "vacant":
            if 0 < self.relight >= self.t - self.past.at:
                self.asked, self.bias = self.past.asked, self.bias or self.past.bias
                sure = True
            self.become("occupied" if sure else "arriving")
        elif self.state in ("arriving", "grace after arriving"):
            if sure or self.t >= self.came + CONFIRM:
                self.become("occupied")
            elif self.state != "arriving":
                self.become("arriving")
        elif self.state == "grace after occupied":
            self.become("occupied")

    def asks(self, what: str) -> None:
        self.hold = None
        if self.state == "arriving":
            self.become("occupied")
        elif self.state != "occupied":
            self.become("grace after occupied")
        self.asked = what
        if self.confirmers():
            self.keeps()
        self.lamps = self.wanted()

    def holds(self, action: str, ends: Ends = HOLD_FOR, level: float | None = None) -> None:
        if action == "end" or (action == "toggle" and self.hold is not None):
            self.hold = None
        else:
            if level is None:
                self.lamps = self.left_behind()
            self.hold = Hold(self.t, ends, level)
        self.lamps = self.wanted()

    def left_behind(self) -> dict[str, float]:
        """The lamps as hands go off them."""
        return self.automatic(warned=False) if self.hold is None and self.warned else self.lamps

    def presses(self, word: str) -> None:
        match BUTTON.get(word, "").split():
            case ["ask", what]:
                self.asks(what)
            case ["hold", action]:
                self.holds(action)
            case [way]:
                now = self.bias.bias if self.bias else 0.0
                bias = now + (STEP if way == "raise" else -STEP)
                self.biases(round(min(BRIGHTEST, max(DIMMEST, bias)), 3), "vacant")

    def biases(self, bias: float, ends: Ends) -> None:
        self.bias = Bias(self.t, ends, bias) if bias else None
        self.lamps = self.wanted()

    def reloads(self, graces: dict[str, int]) -> None:
        self.graces = graces
        self.time_is_up(self.part)
        self.lamps = self.wanted()


def _over(wish: Hold | Bias, what: int | str) -> bool:
    """Is it over, now that this second has come, or at this event?"""
    if isinstance(what, int):
        return isinstance(wish.ends, int) and what >= wish.since + wish.ends
    return wish.ends == what
