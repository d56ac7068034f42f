"""One room: how it stands, what is wrong in it, and why its lamps are as they are."""

from collections.abc import Sequence
from datetime import tzinfo
from itertools import count

from leerie import report, tint
from leerie.config.building import Room
from leerie.notes import Fault
from leerie.pages import drawn
from leerie.pages.markup import Node, breakable, element
from leerie.pages.seen import Seen
from leerie.pages.times import moment, until
from leerie.reasons import LampReason
from leerie.report import steps
from leerie.report.codes import FAULTS
from leerie.report.explained import ENDS
from leerie.report.words import HANDS
from leerie.views import LampView, RoomView

NOT_KNOWN = "not known yet"
LEAST = 0.01
"""A level whose light still counts in a window."""


class Shown:
    """A room as it is shown; more than once on the page, therefore its pieces."""

    def __init__(self, room: Room, seen: Seen, zone: tzinfo, numbers: "count[int]") -> None:
        """`numbers`: from which each lantern takes one of its own."""
        self.name = room.name
        self._seen, self._zone, self._numbers = seen, zone, numbers
        self.view: RoomView | None = seen.rooms.get(room.name)
        self._fixtures = {name: seen.building.fixtures.get(name) for name in room.fixtures}

    @property
    def faults(self) -> Sequence[Fault]:
        return () if self.view is None else self.view.faults

    @property
    def lamps(self) -> dict[str, LampView | None]:
        """As they were told; None: not told yet, or in somebody's hands."""
        told = dict((self.view.fixtures or ()) if self.view is not None else ())
        return {name: told.get(name) for name in self._fixtures}

    @property
    def window(self) -> drawn.Window:
        """The light of those lamps that are known to be lit; without any it is dark only if all are known."""
        lit = [(lamp, self._fixtures[name]) for name, lamp in self.lamps.items() if lamp is not None and lamp.on]
        if not lit:
            return "unknown" if None in self.lamps.values() else "dark"
        light = tint.together([(drawn.hue(lamp, fixture), max(lamp.level, LEAST) ** 2) for lamp, fixture in lit])
        return tint.lit(light, max(lamp.level for lamp, _ in lit))

    # ---- at a glance -------------------------------------------------------------------------------------------------

    def row(self) -> Node:
        """One line of the table of all rooms."""
        lanterns = (self._lantern(name, lamp) for name, lamp in self.lamps.items())
        return element(
            "tr",
            element("th", element("a", *breakable(self.name), href=f"#room-{self.name}"), scope="row"),
            element("td", self._state(), self._until()),
            element("td", element("span", *lanterns, class_="lanterns")),
        )

    def _state(self) -> Node:
        state = "vacant" if self.view is None else self.view.state
        return element("span", NOT_KNOWN if self.view is None else state, class_=f"state {state}")

    def _until(self) -> Node | None:
        view = self.view
        if view is None:
            return None
        if view.until is not None:
            return element("span", *until(view.until, self._seen.at, self._zone), class_="until")
        event = ENDS.get(str(view.hold.ends)) if view.hold is not None else None
        return None if event is None else element("span", event, class_="until")

    def _lantern(self, name: str, lamp: LampView | None) -> Node:
        return drawn.lantern(lamp, self._fixtures[name], f"{name}: {self._shines(name, lamp)}", next(self._numbers))

    def _shines(self, name: str, lamp: LampView | None) -> str:
        """In the words of the reasons, so that the two can be held against each other."""
        if lamp is None:
            hands = self.view is not None and self.view.fixtures is None
            return "in somebody's hands" if hands else "not told yet" if self.view is not None else NOT_KNOWN
        fixture = self._fixtures[name]
        if lamp.on and fixture is not None and fixture.kind == "switched":
            return "on"
        return steps.level(lamp.level)

    # ---- in full -----------------------------------------------------------------------------------------------------

    def section(self) -> Node:
        title = element("h3", *breakable(self.name), id=f"room-{self.name}")
        if self.view is None:
            told = element("p", self._state(), ". Nothing has been decided about this room since leerie started.")
            return element("section", title, told, class_="room vacant")
        reasons = list(zip(self.view.because, report.because(self.view.because, self._zone), strict=True))
        whys = {reason.lamp: words for reason, words in reasons if isinstance(reason, LampReason)}
        lamps = (self._lamp(name, lamp, whys.get(name)) for name, lamp in self.lamps.items())
        why = [element("li", words) for reason, words in reasons if not isinstance(reason, LampReason)]
        return element(
            "section",
            title,
            self._standing(self.view),
            *(self._amiss(fault) for fault in self.faults),
            element("ul", *why, class_="why"),
            element("ul", *lamps, class_="lamps"),
            class_=f"room {self.view.state}",
        )

    def _standing(self, view: RoomView) -> Node:
        held = "" if view.hold is None else f" {HANDS[view.hold.by]}"
        beneath = "" if view.hold is None else f"; beneath the hold it is {view.occupancy}"
        bias = f"; bias {view.bias:+.2f}".replace("-", "−") if view.bias else ""
        since = moment(view.since, self._seen.at, self._zone)
        ends = self._until()
        return element(
            "p",
            self._state(),
            f"{held} since ",
            since,
            None if ends is None else ", ",
            ends,
            f"{beneath}{bias}",
            class_="standing",
        )

    def _amiss(self, fault: Fault) -> Node:
        since = moment(fault.since, self._seen.at, self._zone)
        remedy = FAULTS[fault.code].remedy.replace("`", "").replace(" ROOM ", f" {self.name} ")
        return element("p", element("b", fault.text), ", since ", since, f". {remedy}", class_="amiss")

    def _lamp(self, name: str, lamp: LampView | None, words: str | None) -> Node:
        """How it shines, and how that came about. What it was told need not yet be what the reasons end in."""
        shines = self._shines(name, lamp)
        head, arrow, aim = (words or "").removeprefix(f"{name}: ").rpartition(" → ")
        told = aim if lamp is not None and (aim == shines or aim.startswith(f"{shines}, ")) else shines
        why = head if told == aim else f"{head}{arrow}{aim}"
        return element(
            "li",
            self._lantern(name, lamp),
            element(
                "span",
                element("b", *breakable(name)),
                f": {told}",
                element("span", why, class_="why") if why else None,
            ),
        )
