"""A room's way through time: its day part, and everything that falls due, each at its own moment and in order."""

from math import inf

from leerie.daylight.calendar import Calendar, Holding
from leerie.now import DAY_MS, Now
from leerie.occupancy import timers, wishes
from leerie.occupancy.turn import Turn

LATE_PARTS_MS = 2 * DAY_MS
"""Day parts that began longer ago than this are not lived through one by one."""
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

    @classmethod
    def resumed(
        cls, calendar: Calendar, parts: tuple[str, ...], wall: int, known: tuple[str | None, int | None]
    ) -> "Course":
        """Go on from the day part that was known at `wall`; where the config says another one now, that begins at
        once.
        """
        course = cls(calendar, parts, wall)
        holding = course.holding
        part, began = known
        next_ = holding.next if (holding.part, holding.began) == known else wall
        course.holding = Holding(part, began, next_, holding.earlier, holding.before)
        return course

    def due(self, now: Now) -> float:
        """The steady ms at which the next day part begins, or at which the calendar is to be asked again."""
        wall = self.holding.next if self.holding.next is not None else self._asked + DAY_MS * 1_000
        return now.steady - (now.wall - wall) // 1_000

    def catch_up(self, turn: Turn, since: Now, now: Now) -> None:
        """Live through all that has come due between two instants."""
        clock = since.steady
        if self.due(now) < now.steady - LATE_PARTS_MS:
            self._begin_part(turn, now.wall, now)
        for _ in range(MOST_STEPS):
            timer = timers.next_timer(turn)
            timer_due, part_due = timer.due if timer is not None else inf, self.due(now)
            if min(timer_due, part_due) > now.steady:
                break
            # What was overdue before we began, a reload has made so: it comes now, and the room goes dark now.
            moment = int(min(timer_due, part_due)) if timer_due >= since.steady else now.steady
            clock = min(now.steady, max(clock, moment))
            if timer is not None and timer_due <= part_due:
                timers.fire(turn, timer, now.at(clock))
            else:
                self._begin_part(turn, self.holding.next or now.wall, now.at(clock))
        else:
            raise AssertionError(f"{turn.place.room.name}: time does not pass")
        if self.holding.began is not None and now.wall < self.holding.began:
            self._begin_part(turn, now.wall, now)  # the wall clock was set back
        turn.see_end(now)

    def _begin_part(self, turn: Turn, wall: int, at: Now) -> None:
        before = self.holding
        self.holding = holding = self._calendar.holding(self._parts, wall)
        self._asked = wall
        if (holding.part, holding.began) == (before.part, before.began):
            return
        turn.part_begins(holding.part, at)
        turn.cause = "part"
        if holding.began is not None and (before.began is None or holding.began > before.began):
            wishes.condition(turn, "day_part", at)
