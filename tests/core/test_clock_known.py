"""A wall clock that is not known to be right: no day part holds, and a room goes by the last it knew."""

from zoneinfo import ZoneInfo

from core.walker import Walker, house, instant
from leerie.controller import Controller
from leerie.notes import HoldEnded
from leerie.now import Now
from leerie.report import because

HOUSE = """
[day_parts.day]
starts = "08:00"
[day_parts.evening]
starts = "18:00"
[day_parts.night]
starts = "23:00"
[sensors.radar]
kind = "presence"
topic = "radar"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$percent"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench"]
confirm = "0s"
grace = "10m"
[rooms.workshop.scenes]
evening = { bench = 0.3 }
day = { bench = 0.8 }
night = {}
vacant = { bench = 0.1 }
"""
BUILDING = house(HOUSE)
LONDON = ZoneInfo("Europe/London")
BOOTED_IN_1970 = Now(60_000, 60_000_000)


class Doubtful(Walker):
    """A walker whose controller does not trust the clock yet."""

    def __init__(self, memory: dict[str, bytes], now: Now) -> None:
        super().__init__(BUILDING, memory, now, boot="another boot")

    def connect(self, kept: dict[str, str] | None = None) -> None:
        self.controller = Controller(self.building, self.memory, "another boot", clock_known=False)
        super().connect(kept)

    def trust(self, wall: str) -> None:
        """The clock is set, and from then on right."""
        self.now = instant(wall, self.now.steady)
        self.take(self.controller.advance(self.now))
        self.take(self.controller.clock_known(self.now))


def evening(*more: tuple[str, str]) -> dict[str, bytes]:
    walker = Walker(BUILDING, now=instant("2026-03-02T19:00:00+00:00"))
    for topic, payload in (("radar", "1"), *more):
        walker.say(topic, payload)
    return walker.controller.handover(walker.now)


def test_an_occupied_room_uses_the_scene_it_was_last_in() -> None:
    walker = Doubtful(evening(), BOOTED_IN_1970)
    walker.say("radar", "1")
    view = walker.views["workshop"]
    assert view.part is None
    assert dict(view.fixtures or ())["bench"].level == 0.3
    assert "the clock is not known to be right yet, so no day part holds: as in evening, the last one known" in because(
        view.because, LONDON
    )


def test_without_memory_it_uses_its_brightest() -> None:
    walker = Doubtful({}, BOOTED_IN_1970)
    walker.say("radar", "1")
    view = walker.views["workshop"]
    assert (view.part, dict(view.fixtures or ())["bench"].level) == (None, 0.8)
    assert any("as in day, the brightest" in line for line in because(view.because, LONDON))


def test_once_the_clock_is_right_the_part_of_the_hour_holds_at_once() -> None:
    walker = Doubtful(evening(), BOOTED_IN_1970)
    walker.say("radar", "1")
    walker.trust("2026-03-03T09:00:00+00:00")
    walker.pass_("3m")
    view = walker.views["workshop"]
    assert (view.part, dict(view.fixtures or ())["bench"].level) == ("day", 0.8)
    walker.pass_("14h1m")
    assert walker.views["workshop"].part == "night"


def test_day_parts_do_not_begin_meanwhile() -> None:
    """A board that boots at its last shutdown, an hour before the night: its clock means nothing."""
    walker = Doubtful(evening(), instant("2026-03-02T22:30:00+00:00", 1_000))
    walker.say("radar", "1")
    walker.pass_("2h")
    view = walker.views["workshop"]
    assert (view.part, dict(view.fixtures or ())["bench"].level) == (None, 0.3)


def test_the_building_has_no_day_part_to_tell_of() -> None:
    walker = Doubtful(evening(), BOOTED_IN_1970)
    assert [outcome.sky.part for outcome in walker.outcomes if outcome.sky is not None] == [None]


def test_what_the_record_knows_is_not_lost_over_a_second_restart() -> None:
    first = Doubtful(evening(), BOOTED_IN_1970)
    second = Doubtful(first.controller.handover(first.now), BOOTED_IN_1970.at(120_000))
    second.say("radar", "1")
    assert dict(second.views["workshop"].fixtures or ())["bench"].level == 0.3


def test_a_hold_until_the_next_day_part_ends_when_one_has_begun_and_not_before() -> None:
    hold = ("leerie/room/workshop/hold", '{"hold": true, "level": 0.6, "for": "day_part"}')
    same = Doubtful(evening(hold), BOOTED_IN_1970)
    same.pass_("1h")
    same.trust("2026-03-02T21:00:00+00:00")
    assert not [note for note in same.notes if isinstance(note, HoldEnded)]
    later = Doubtful(evening(hold), BOOTED_IN_1970)
    later.trust("2026-03-03T08:30:00+00:00")
    assert [note.why for note in later.notes if isinstance(note, HoldEnded)] == ["day_part"]


def test_told_twice_it_is_no_news() -> None:
    walker = Walker(BUILDING)
    assert walker.controller.clock_known(walker.now).rooms == ()


def test_a_clock_that_is_set_back_before_the_first_look_is_looked_at_anew() -> None:
    """What was to begin at once after a restart must not wait until that hour comes again."""
    day = Walker(BUILDING, now=instant("2026-03-02T12:00:00+00:00"))
    doubtful = Doubtful(day.controller.handover(day.now), instant("2026-03-03T08:00:01+00:00", 1_000))
    memory = doubtful.controller.handover(doubtful.now)
    restarted = Controller(BUILDING, memory, "a third boot")
    restarted.linked(instant("2026-03-03T08:00:02+00:00", 1_000))
    set_back = instant("2026-03-02T23:30:00+00:00", 1_500)
    restarted.advance(set_back)
    [view] = restarted.settled(set_back).rooms
    assert view.part == "night"
