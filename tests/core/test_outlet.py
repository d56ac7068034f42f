"""What goes to a lamp and when: the newest, no faster than its pace, and again when it may have been lost."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from walker import Walker, house

from leerie.notes import Coalesced, Undelivered
from leerie.now import MINUTE_MS, SECOND_MS

DAY = """
[day_parts.day]
blend = "0s"
starts = "00:00"
"""


def lamp(name: str, keys: str = "") -> str:
    return f"""
[fixtures.{name}]
kind = "dimmable"
topic = "{name}"
payload = "$level"
curve = "square"
{keys}
"""


def room(name: str, *lamps: str, value: str = "0.5") -> str:
    """A room that is always occupied."""
    lit = ", ".join(f"{lamp} = {value}" for lamp in lamps)
    return f"""
[rooms.{name}]
fixtures = {list(lamps)}
[rooms.{name}.scenes]
day = {{ {lit} }}
"""


def bench(keys: str = 'refresh = "never"', **more: str) -> Walker:
    """A workshop with one lamp, told once, and all that a new connection brings over."""
    walker = Walker(house(DAY + lamp("bench", keys) + room("workshop", "bench", **more)))
    walker.pass_("3m")
    walker.forget()
    return walker


def hold(walker: Walker, level: float, name: str = "workshop") -> None:
    walker.say(f"leerie/room/{name}/hold", f'{{"hold": true, "level": {level}}}')


# ---- pace ------------------------------------------------------------------------------------------------------------


def test_while_a_lamp_is_paced_newer_replaces_older_and_the_last_goes_out() -> None:
    walker = bench('pace = 1\nrefresh = "never"')
    start = walker.now.steady
    for level in (0.1, 0.2, 0.3, 0.4):
        hold(walker, level)
        walker.pass_ms(100)
    assert walker.telling("bench") == [(start, 0.1)]
    assert [note for note in walker.notes if isinstance(note, Coalesced)] == [Coalesced("bench")] * 2
    walker.pass_("10s")
    assert walker.telling("bench") == [(start, 0.1), (start + 1_000, 0.4)]


def test_a_target_equal_to_the_last_told_calls_back_what_waits() -> None:
    walker = bench('pace = 0.5\nrefresh = "never"')
    for level in (0.1, 0.2, 0.1):
        hold(walker, level)
        walker.pass_ms(600)  # within half a second the second 0.1 would be the first come twice
    walker.pass_("10s")
    assert [level for _, level in walker.telling("bench")] == [0.1]


def test_hands_off_calls_back_what_waits() -> None:
    walker = bench('pace = 1\nrefresh = "never"')
    hold(walker, 0.1)
    hold(walker, 0.2)
    walker.say("leerie/room/workshop/hold", "start")
    walker.pass_("10s")
    assert [level for _, level in walker.telling("bench")] == [0.1]


STEPS = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 1_500)), min_size=1, max_size=20, unique_by=lambda step: step[0]
)


@settings(deadline=None)
@given(STEPS, st.sampled_from(["0.5", "1", "5", "50"]))
def test_no_lamp_is_told_faster_than_its_pace_and_the_newest_always_arrives(
    steps: list[tuple[float, int]], pace: str
) -> None:
    """What is told is never older than what was told before."""
    walker = bench(f'pace = {pace}\nrefresh = "never"')
    wishes: list[tuple[int, float]] = []
    for level, wait in steps:
        hold(walker, level)
        wishes.append((walker.now.steady, level))
        walker.pass_ms(wait)
    walker.pass_("10s")
    told = walker.telling("bench")
    assert all(later - sooner >= 1_000 / float(pace) for (sooner, _), (later, _) in pairwise(told))
    assert walker.level("bench") == steps[-1][0]
    order = [[level for _, level in wishes].index(level) for _, level in told]  # every wish is another level
    assert order == sorted(order), "an old wish was told after a newer one"
    for at, level in told:
        older = [wish for when, wish in wishes if when < at]
        same_moment = [wish for when, wish in wishes if when == at]
        # At the very moment of a new wish the one before it may just have gone.
        assert level in older[-1:] + same_moment, "told before it was wished, or after it was replaced"


# ---- refresh ---------------------------------------------------------------------------------------------------------


def test_a_lamp_is_refreshed_at_even_steps_and_never_if_it_says_so() -> None:
    text = DAY + lamp("bench", 'refresh = "2m"') + lamp("relay", 'refresh = "never"')
    walker = Walker(house(text + room("workshop", "bench", "relay")))
    walker.pass_("3m")
    walker.forget()
    walker.pass_("1h")
    times = [at for at, _ in walker.telling("bench")]
    assert len(times) == 30
    assert {later - sooner for sooner, later in pairwise(times)} == {2 * MINUTE_MS}
    assert {note.cause for _, note in walker.told} == {"refresh"}
    assert walker.telling("relay") == []


def test_refreshes_keep_to_their_own_grid_whatever_else_the_lamp_is_told() -> None:
    walker = bench('refresh = "2m"')
    walker.pass_("2m")
    [(first, _)] = walker.telling("bench")
    walker.pass_("50s")
    hold(walker, 0.3)
    walker.pass_("3m")
    refreshed = [at for at, note in walker.told if note.cause == "refresh"]
    assert refreshed == [first + count * 2 * MINUTE_MS for count in range(len(refreshed))]
    assert len(refreshed) >= 2


def test_rooms_are_refreshed_each_at_its_own_time_and_not_in_a_burst() -> None:
    """Of 40 rooms spread by chance over 300 s some may meet in a second, a quarter of them may not."""
    names = [f"room{number}" for number in range(40)]
    walker = Walker(house(DAY + "".join(lamp(f"l_{name}") + room(name, f"l_{name}") for name in names)))
    walker.pass_("3m")
    walker.forget()
    walker.pass_("5m")
    seconds = [at // SECOND_MS for at, _ in walker.told]
    assert len(seconds) == 40
    assert max(map(seconds.count, seconds)) < 10
    assert max(seconds) - min(seconds) > 200


@pytest.mark.parametrize(("keys", "longest"), [('refresh = "1m"', 60), ('refresh = "never"', 300), ("", 300)])
def test_a_command_expires_no_later_than_the_next_refresh(keys: str, longest: int) -> None:
    walker = bench(keys)
    hold(walker, 0.3)
    [(_, publish)] = walker.published
    assert 0 < publish.expiry_s <= longest


# ---- a new connection ------------------------------------------------------------------------------------------------


def test_after_a_reconnect_all_rooms_are_told_again_within_10_s_and_twice_more() -> None:
    names = [f"room{number}" for number in range(5)]
    keys = 'refresh = "never"'
    walker = Walker(house(DAY + "".join(lamp(f"l_{name}", keys) + room(name, f"l_{name}") for name in names)))
    walker.pass_("3m")
    walker.lose()
    walker.pass_("1m")
    walker.forget()
    start = walker.now.steady
    walker.connect()
    walker.pass_("10m")
    assert {note.cause for _, note in walker.told} == {"reconnect"}
    firsts = []
    for name in names:
        first, second, third = (at - start for at, _ in walker.telling(f"l_{name}"))
        assert (second, third) == (first + 30 * SECOND_MS, first + 2 * MINUTE_MS)
        firsts.append(first)
    assert firsts == [0, 2_000, 4_000, 6_000, 8_000]


def test_a_lamp_that_was_never_commanded_is_not_told_by_a_reconnect() -> None:
    """The room was started without memory, and nobody has been seen yet."""
    sensor = '[sensors.pir]\nkind = "presence"\ntopic = "pir"\n'
    text = DAY + sensor + lamp("bench") + room("workshop", "bench").replace("fixtures", 'sensors = ["pir"]\nfixtures')
    walker = Walker(house(text))
    walker.lose()
    walker.connect()
    walker.pass_("9m")
    assert walker.told == []
    walker.pass_("2m")
    assert {level for _, level in walker.telling("bench")} == {0}, "the grace of the start is over"


def test_nothing_goes_out_while_the_connection_is_gone_and_the_newest_when_it_is_back() -> None:
    walker = bench()
    walker.lose()
    hold(walker, 0.1)
    hold(walker, 0.2)
    walker.pass_("10m")
    assert walker.published == []
    walker.connect()
    assert walker.telling("bench") == [(walker.now.steady, 0.2)]


# ---- a slow broker ---------------------------------------------------------------------------------------------------


def many() -> Walker:
    """30 lamps in three rooms, before a broker that answers only when it is told to."""
    names = [f"lamp{number}" for number in range(30)]
    rooms = "".join(room(f"room{place}", *names[place * 10 : place * 10 + 10]) for place in range(3))
    lamps = "".join(lamp(name, 'refresh = "never"') for name in names)
    return Walker(house(DAY + lamps + rooms), answers=False)


def test_no_more_than_20_commands_are_in_flight_and_all_arrive_as_the_broker_answers() -> None:
    walker = many()
    walker.pass_("5s")
    assert 0 < len(walker.flying) <= 20
    assert len(walker.published) == len(walker.flying)
    for _ in range(3):
        walker.answer()
        walker.pass_("5s")
        assert len(walker.flying) <= 20
    assert len({publish.topic for _, publish in walker.published}) == 30


def test_what_waits_for_a_slow_broker_is_called_back_by_a_hold() -> None:
    walker = many()
    before = len(walker.told)
    walker.say("leerie/room/room2/hold", "start")
    walker.answer()
    walker.pass_("5s")
    assert [note for _, note in walker.told[before:] if note.room == "room2"] == []


def test_a_command_that_the_broker_refuses_is_noted_once() -> None:
    walker = bench()
    walker.answers = False
    hold(walker, 0.3)
    walker.answer(ok=False)
    walker.pass_("1s")
    assert [note for note in walker.notes if isinstance(note, Undelivered)] == [Undelivered("bench", "bench")]


def test_an_answer_that_nobody_waits_for_changes_nothing() -> None:
    walker = bench()
    walker.controller.acknowledged(999, ok=False, now=walker.now)
    walker.pass_("1s")
    assert walker.notes == []


# ---- gliding ---------------------------------------------------------------------------------------------------------

GLIDING = """
[service]
drift = "10s"
[daylight]
scale = "linear"
dark = 0
bright = 100000
outdoor = { topic = "roof", expires = "1d" }
"""


def gliding(lux: int = 50_000) -> Walker:
    """A lamp that moves 0.01 for each 1000 lx, and stands at level 0.5 to begin with."""
    text = GLIDING + DAY + lamp("bench", 'refresh = "never"')
    walker = Walker(house(text + room("workshop", "bench", value="{ follow = [0.0, 1.0] }")), kept={"roof": str(lux)})
    walker.pass_("3m")
    walker.pass_ms(10 * SECOND_MS - walker.now.steady % (10 * SECOND_MS) + 3_000)
    walker.forget()
    return walker


def test_a_lamp_glides_by_steps_of_a_hundredth() -> None:
    walker = gliding()
    assert walker.level("bench") == 0.5
    walker.say("roof", "50900")
    walker.pass_("1m")
    assert walker.told == []
    walker.say("roof", "51100")
    walker.pass_("1m")
    assert [level for _, level in walker.telling("bench")] == [pytest.approx(0.511)]


def test_a_reading_moves_no_lamp_before_the_next_step_of_drift() -> None:
    walker = gliding()
    start = walker.now.steady
    walker.say("roof", "51500")
    assert walker.told == []
    walker.pass_("1m")
    assert walker.telling("bench") == [(start + 7_000, pytest.approx(0.515))]
    assert {note.cause for _, note in walker.told} == {"drift"}


def test_a_lamp_that_goes_out_is_told_however_small_the_step() -> None:
    walker = gliding(600)
    assert walker.level("bench") == 0.01, "it goes no lower than it rests"
    walker.say("roof", "0")
    walker.pass_("1h")
    assert [level for _, level in walker.telling("bench")] == [0]
