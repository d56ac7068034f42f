"""A room's way through time: its day part, and everything that falls due, each at its own moment and in order."""

from math import inf
from typing import Literal

from msgspec.structs import replace

from leerie.config.building import Room
from leerie.daylight.calendar import Calendar, Holding
from leerie.now import DAY_MS, Now
from leerie.occupancy import timers, wishes
from leerie.occupancy.records import Occupancy
from leerie.occupancy.timers import Timer
from leerie.occupancy.turn import Turn
from leerie.targets.scenes import by_light

LATE_PARTS_MS = 2 * DAY_MS
"""Day parts that began longer ago than this are not lived through one by one."""
AT_ONCE = 0
"""The `next` of a holding after which the calendar is asked at the next look, whatever the clock says then."""
MOST_STEPS = 10_000
"""No room has so many timers that one step could need more; a loop that does is a bug, and stops."""


class Course:
    """Where a room stands in the day."""

    def __init__(self, calendar: Calendar, parts: tuple[str, ...], wall: int) -> None:
        self._calendar = calendar
        self._parts = parts
        self.holding: Holding = calendar.holding(parts, wall)
        self._asked = wall
        """The wall time for which the calendar was last asked."""
        self._known: tuple[str | None, int | None] | None = None
        """While the wall clock is not known to be right: the day part known last, and when it began."""
        self._foreseen: tuple[Occupancy, str | None, bool, Timer | None] | None = None
        """What `next_timer` worked out last: occupancy, day part and deafness that it hangs on, and the timer."""
        self._anew = False
        """The part that holds is to be taken up even if it is the one before."""

    @classmethod
    def resumed(
        cls, calendar: Calendar, parts: tuple[str, ...], wall: int, known: tuple[str | None, int | None]
    ) -> "Course":
        """Go on from the day part that was known at `wall`; where the calendar says another one, that begins at the
        next look.
        """
        course = cls(calendar, parts, wall)
        holding = course.holding
        part, began = known
        next_ = holding.next if (holding.part, holding.began) == known else AT_ONCE
        course.holding = Holding(part, began, next_, holding.earlier, holding.before)
        return course

    @classmethod
    def unsure(cls, calendar: Calendar, room: Room, wall: int, known: tuple[str | None, int | None]) -> "Course":
        """Go by what was known last, else by the brightest part, until the wall clock is known to be right."""
        course = cls(calendar, room.parts, wall)
        brightest = by_light(room)
        part = known[0] if known[0] in room.parts else next(iter(brightest), None)
        others = tuple(other for other in brightest if other != part)
        stand_in: Literal["last", "brightest"] = "last" if part == known[0] else "brightest"
        course.holding = Holding(part, None, None, others, stand_in=stand_in)
        course._known = known
        return course

    def clock_known(self) -> None:
        """From now on the wall clock is right: what holds by it begins at the next look."""
        if self._known is not None:
            part, began = self._known
            self.holding, self._known = Holding(part, began, AT_ONCE), None  # trial: the clock found right
            self._anew = True

    def clock_stepped(self) -> None:
        """The wall clock was set: what begins next lies elsewhere, and may have begun already."""
        if self._known is None:
            self.holding = replace(self.holding, next=AT_ONCE)

    @property
    def remembered(self) -> tuple[str | None, int | None]:
        """The day part known last, and when it began."""
        return self._known or (self.holding.part, self.holding.began)

    def due(self, now: Now) -> float:
        """The steady ms at which the next day part begins, or at which the calendar is to be asked again."""
        if self._known is not None:
            return now.steady + DAY_MS
        wall = self.holding.next if self.holding.next is not None else self._asked + DAY_MS * 1_000
        return now.steady - (now.wall - wall) // 1_000

    def next_timer(self, turn: Turn) -> Timer | None:
        """What the occupancy has due first; worked out once, since occupancy does not change but becomes another."""
        known = self._foreseen
        if known is None or known[0] is not turn.occupancy or known[1:3] != (turn.part, turn.deaf):
            known = self._foreseen = (turn.occupancy, turn.part, turn.deaf, timers.next_timer(turn))
        return known[3]

    def catch_up(self, turn: Turn, since: Now, now: Now) -> None:
        """Live through all that has come due between two instants."""
        clock = since.steady
        if self.due(now) < now.steady - LATE_PARTS_MS:
            self._begin_part(turn, now.wall, now)
        for _ in range(MOST_STEPS):
            timer = self.next_timer(turn)
            timer_due, part_due = timer.due if timer is not None else inf, self.due(now)
            if min(timer_due, part_due) > now.steady:
                break
            # What was overdue before we began, a reload has made so: it comes now, and the room goes dark now.
            moment = int(min(timer_due, part_due)) if timer_due >= since.steady else now.steady
            clock = min(now.steady, max(clock, moment))
            if timer is not None and timer_due <= part_due:
                timers.fire(turn, timer, now.at(clock))
            else:
                self._begin_part(turn, self.holding.next or now.wall, now.at(clock))  # trial: a part begins
        else:
            raise AssertionError(f"{turn.place.room.name}: time does not pass")
        if self.holding.began is not None and now.wall < self.holding.began:
            self._begin_part(turn, now.wall, now)  # the wall clock was set back
        turn.see_end(now)

    def _begin_part(self, turn: Turn, wall: int, at: Now) -> None:
        before = self.holding
        self.holding = holding = self._calendar.holding(self._parts, wall)
        self._asked = wall
        if (holding.part, holding.began) == (before.part, before.began) and not self._anew:
            return
        self._anew = False
        turn.part_begins(holding.part, at)
        turn.cause = "part"
        if holding.began is not None and (before.began is None or holding.began > before.began):
            wishes.condition(turn, "day_part", at)
