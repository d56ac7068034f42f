"""Three rooms that are the slow room and one thing more: a bathroom with a door, a room whose sensors fail, and an
escape route.
"""

from typing import ClassVar, Literal

from slow_room import CLEARS, DAY_S, SCENES, SlowRoom

SETTLE = 10
ALIVE = {"radar": 2800, "pir": 1200}


class Bathroom(SlowRoom):
    """One door, which brings light by day only, and one sensor. Who is seen behind the shut door stays."""

    eyes = ("eye",)
    sensors: ClassVar[dict[str, tuple[str, ...]]] = {"day": ("door", "eye"), "night": ("eye",)}
    keep = ()

    def __init__(self, second: int, graces: dict[str, int]) -> None:
        super().__init__(second, graces)
        self.open: bool | None = None
        self.moved = second
        self.door_gone = False
        self.latched: int | None = None
        """When somebody was last seen behind the shut door."""

    def sees_somebody(self) -> None:
        settled = self.moved + SETTLE + self.clears.get("eye", 0)
        if "eye" in self.seen and self.open is False and not self.door_gone and self.t > settled:
            self.latched = self.t

    def sensors_tire(self) -> None:
        if "eye" not in self.clears:
            self.sees_somebody()  # what never clears by itself says "present" at every moment
        super().sensors_tire()
        if self.latched is not None and self.t >= self.latched + self.stuck_after:
            self.latched = None

    def kept(self) -> bool:
        return super().kept() or self.latched is not None

    def confirmers(self) -> list[str]:
        return super().confirmers() or (["eye"] if self.latched is not None else [])

    def keeps(self) -> None:
        """The latch is nobody's word: an ask goes on to occupied only where a sensor says present."""
        if super().confirmers():
            super().keeps()

    def says(self, name: str, present: bool, kept: bool = False) -> None:
        told_again = kept and self.said.get(name) is present
        super().says(name, present, kept)
        if present and not told_again and name not in self.stuck:
            self.sees_somebody()

    def door_says(self, is_open: bool, kept: bool) -> None:
        if not kept:
            self.door_gone = False
        if is_open is not self.open:
            self.open, self.moved = is_open, self.t
            if is_open:
                self.latched = None
                if not kept and "door" in self.sensors[self.part]:
                    self.evidence(sure=False)
        self.last_ends()
        self.lamps = self.wanted()

    def door_is(self, online: bool) -> None:
        self.door_gone = not online
        if self.door_gone:
            self.latched = None
        self.last_ends()
        self.lamps = self.wanted()


class PulsedBathroom(Bathroom):
    motion = ("eye",)
    clears: ClassVar[dict[str, int]] = {"eye": CLEARS}


class WatchedBathroom(Bathroom):
    """Its sensor never clears by itself, and is never stuck."""

    motion = ()
    clears: ClassVar[dict[str, int]] = {}
    stuck_after = 99 * DAY_S


class HeldOverBathroom(Bathroom):
    """Its sensor says present and absent, and clears by itself."""

    motion = ()
    clears: ClassVar[dict[str, int]] = {"eye": CLEARS}


class FailingRoom(SlowRoom):
    """Its sensors go silent, or are said to be gone; `if_blind` says what then."""

    if_blind: ClassVar[Literal["on", "off", "last"]] = "off"

    def __init__(self, second: int, graces: dict[str, int]) -> None:
        super().__init__(second, graces)
        self.heard = dict.fromkeys(ALIVE, second - 45 * 60)
        """When a sensor was last heard, or could have been."""
        self.silent: list[str] = []
        self.gone: list[str] = []
        self.connected = True
        self.blind: int | None = None
        """Since when all are out."""
        self.fall_silent()

    @property
    def out(self) -> list[str]:
        return [name for name in self.eyes if name in self.silent or name in self.gone]

    @property
    def until(self) -> int | None:
        if self.hold is None and self.state == "occupied" and self.if_blind == "last" and self.blind is not None:
            return self.blind + self.stuck_after
        return super().until

    def sensors_tire(self) -> None:
        super().sensors_tire()
        self.last_ends()
        self.fall_silent()
        self.look_around()

    def fall_silent(self) -> None:
        for name, heard in self.heard.items():
            if self.connected and name not in self.silent and self.t >= heard + ALIVE[name]:
                self.silent.append(name)
                self.seen.pop(name, None)

    def look_around(self) -> None:
        if len(self.out) < len(self.eyes):
            self.blind = None
        elif self.blind is None:
            self.blind = self.t
            if self.if_blind == "on" or (self.if_blind == "last" and self.state == "arriving"):
                self.occupy()
        self.last_ends()

    def occupy(self) -> None:
        if self.state != "occupied":
            self.become("occupied")

    def kept(self) -> bool:
        if self.blind is None:
            return super().kept()
        return self.if_blind == "on" or (self.if_blind == "last" and self.t < self.blind + self.stuck_after)

    def speaks(self, name: str) -> None:
        self.silent = [other for other in self.silent if other != name]
        if name in self.heard:
            self.heard[name] = self.t

    def says(self, name: str, present: bool, kept: bool = False) -> None:
        self.speaks(name)
        if name in self.gone and kept:
            self.last_word(name, present)
            return
        self.gone = [other for other in self.gone if other != name]
        self.blind = None
        super().says(name, present, kept)
        self.last_ends()
        self.lamps = self.wanted()

    def last_word(self, name: str, present: bool) -> None:
        """The broker's of a sensor that is gone: no news of anybody."""
        self.said[name] = present
        if not present:
            self.stuck = [other for other in self.stuck if other != name]

    def is_online(self, name: str, online: bool) -> None:
        if online:
            self.speaks(name)
            self.gone = [other for other in self.gone if other != name]
        elif name not in self.gone:
            self.gone.append(name)
            self.seen.pop(name, None)
        self.look_around()
        self.lamps = self.wanted()

    def reconnects(self) -> None:
        self.connected = True
        self.heard = dict.fromkeys(self.heard, self.t)

    def reloads(self, graces: dict[str, int]) -> None:
        self.reconnects()
        super().reloads(graces)


class FailingBright(FailingRoom):
    if_blind = "on"


class FailingAsItWas(FailingRoom):
    if_blind = "last"


class EscapeRoute(SlowRoom):
    """Never dark: whatever a person or a button says, the vacant scene is the least. It does not relight."""

    auto_on = 1.0
    relight = 0

    @property
    def warned(self) -> bool:
        return False

    @property
    def lit(self) -> dict[str, float]:
        return {"bench": SCENES[self.part], "glow": 0.0}

    @property
    def hands_off(self) -> bool:
        return self.hold is not None and self.hold.level is None

    def ends_at(self) -> int | None:
        return self.since + self.graces[self.began_in] if self.state.startswith("grace") else None

    def wanted(self) -> dict[str, float]:
        if self.hold is not None and self.hold.level == 0:
            return {"bench": 0.0, "glow": 0.1}
        return super().wanted()

    def automatic(self, *, warned: bool) -> dict[str, float]:
        assert not warned
        if self.state == "vacant" or self.asked == "dark":
            return {"bench": 0.0, "glow": 0.1}
        bias = max(0.0, self.bias.bias) if self.bias else 0.0
        return {"bench": min(1.0, SCENES[self.part] * (1 + bias)), "glow": 0.0}

    def left_behind(self) -> dict[str, float]:
        return self.lamps if self.hands_off else self.lit
