"""What a restart remembers."""

from itertools import pairwise
from random import Random

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from walker import START_MS, Walker, house, instant

from leerie import record as records
from leerie.notes import FalseOff, HoldBegun, HoldEnded, Moved, Note
from leerie.now import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Now
from leerie.occupancy.table import State
from leerie.record import Record, carry_over, choose, decode, encode
from leerie.saving import BURST

HOUSE = house("""
[daylight]
outdoor = { topic = "roof", expires = "1h" }
[day_parts.day]
blend = "0s"
starts = "08:00"
[day_parts.evening]
blend = "0s"
starts = "18:00"
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = "3h"
[sensors.pir]
kind = "motion"
topic = "pir"
clears = "20s"
[sensors.door]
kind = "door"
topic = "door"
[sensors.wall]
kind = "button"
topic = "wall"
does = { up = "raise", down = "lower", long = "hold toggle" }
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = { out = "$level", white = "$kelvin" }
[fixtures.sign]
kind = "switched"
topic = "sign"
refresh = "never"
[rooms.workshop]
sensors = ["pir", "wall"]
keep = ["radar"]
fixtures = ["bench", "sign"]
grace = "5m"
[rooms.workshop.scenes]
day = { bench = { follow = [0.3, 1.0] } }
evening = { bench = 0.4, sign = 1 }
vacant = { sign = 1 }
[fixtures.mirror]
kind = "dimmable"
topic = "mirror"
payload = "$level"
[rooms.bath]
sensors = ["pir", "door"]
fixtures = ["mirror"]
enclosed = true
[rooms.bath.scenes]
day = { mirror = 0.9 }
""")
SAYS = (
    *(("radar", word) for word in ("on", "off")),
    *(("pir", "on"), ("door", "open"), ("door", "closed"), ("wall", "up"), ("wall", "down"), ("wall", "long")),
    *(("roof", "300"), ("roof", "15000"), ("wall", "?"), ("pir", "?")),
    *(("leerie/room/workshop/ask", word) for word in ("light", "dark")),
    *(("leerie/room/bath/hold", word) for word in ("toggle", '{"hold": true, "level": 0.2, "for": "90s"}')),
    ("leerie/room/workshop/hold", '{"hold": true, "level": 0.5, "for": "day_part"}'),
    ("leerie/room/workshop/bias", '{"bias": 0.2, "for": "20m"}'),
    ("leerie/room/workshop/hold", "end"),
)
SPANS = (0, 100, SECOND_MS, 15 * SECOND_MS, 2 * MINUTE_MS, 6 * MINUTE_MS, HOUR_MS)
STEPS = st.lists(st.tuples(st.sampled_from(SAYS), st.sampled_from(SPANS)), max_size=15)
Steps = list[tuple[tuple[str, str], int]]

HOLD = "leerie/room/workshop/hold"


def reached(steps: Steps, room: str) -> Record:
    """A record as it comes about in use."""
    walker = Walker(HOUSE)
    for (topic, payload), span in steps:
        walker.say(topic, payload)
        walker.pass_ms(span)
    record = decode(walker.memory[room])
    assert record is not None
    return record


def some() -> Record:
    """A record with a hold, presence and lamps that were told."""
    return reached([(("pir", "on"), 0), ((HOLD, '{"hold": true, "level": 0.4}'), 0)], "workshop")


# ---- as bytes --------------------------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=50)
@given(STEPS, st.sampled_from(["workshop", "bath"]))
def test_a_record_comes_back_from_its_bytes_as_it_was(steps: Steps, room: str) -> None:
    record = reached(steps, room)
    assert decode(encode(record)) == record


@given(st.binary(max_size=200))
def test_bytes_that_are_no_record_are_none(data: bytes) -> None:
    assert decode(data) is None


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"null",
        b"[" * 100_000,
        b"\xff",
        encode(some())[:-1],
        encode(some()).replace(b"workshop", b"\xff\xfe"),
        msgspec.json.encode({**msgspec.json.decode(encode(some())), "revision": "7"}),
        encode(replace(some(), revision=0)),
        encode(replace(some(), format=2)),
    ],
)
def test_a_record_that_is_broken_or_of_another_time_is_none(data: bytes) -> None:
    assert decode(data) is None


@given(st.integers(0), st.integers(0, 255))
def test_a_record_with_one_byte_changed_never_raises(place: int, byte: int) -> None:
    data = bytearray(encode(some()))
    data[place % len(data)] = byte
    decode(bytes(data))


def test_a_room_with_a_broken_record_begins_as_without_one() -> None:
    walker = Walker(HOUSE, {"workshop": b"{", "bath": encode(some())[:50]})
    assert {view.state for view in walker.views.values()} == {"grace"}


# ---- which one -------------------------------------------------------------------------------------------------------


def test_the_higher_revision_wins_and_at_a_tie_the_folders() -> None:
    record = some()
    older, newer = encode(replace(record, revision=7)), encode(replace(record, revision=8))
    elsewhere = encode(replace(record, revision=8, boot="elsewhere"))
    assert choose(older, newer) == newer
    assert choose(newer, older) == newer
    assert choose(newer, elsewhere) == newer
    assert choose(elsewhere, newer) == elsewhere


def test_what_cannot_be_read_is_not_chosen() -> None:
    good = encode(some())
    assert choose(None, good) == choose(good, None) == choose(b"{", good) == choose(good, b"") == good
    assert choose(None, None) is choose(b"{", b"[]") is None


def test_each_record_has_a_higher_revision_than_the_one_before_and_than_the_one_it_began_with() -> None:
    walker = Walker(HOUSE)
    revisions = []
    for level in (0.1, 0.2):
        walker.say(HOLD, f'{{"hold": true, "level": {level}}}')
        revisions.append(decoded(walker).revision)
    later = Walker(HOUSE, walker.memory)
    revisions.append(decoded(later).revision)
    assert revisions == sorted(set(revisions))


def decoded(walker: Walker, room: str = "workshop") -> Record:
    record = decode(walker.memory[room])
    assert record is not None
    return record


# ---- carried over ----------------------------------------------------------------------------------------------------

AN_HOUR_ON = 3_600_000_000


def age_ms(record: Record, now: Now) -> int:
    """For how long, by this record, the hold has stood."""
    hold = record.occupancy.hold
    assert hold is not None
    return now.steady - hold.since.steady


def test_in_the_same_boot_the_steady_clock_alone_counts() -> None:
    record = some()
    for wall in (-5 * AN_HOUR_ON, 0, 99 * AN_HOUR_ON):
        now = Now(record.at.steady + HOUR_MS, record.at.wall + wall)
        assert carry_over(record, "one boot", now) == record
        assert age_ms(carry_over(record, "one boot", now), now) == HOUR_MS


@pytest.mark.parametrize("boot", ["another boot", ""])
def test_after_another_boot_the_wall_clock_tells_how_much_time_has_passed(boot: str) -> None:
    now = Now(17, some().at.wall + AN_HOUR_ON)
    assert age_ms(carry_over(some(), boot, now), now) == HOUR_MS


def test_a_steady_clock_that_went_back_is_another_boot_whatever_its_name() -> None:
    now = Now(17, some().at.wall + AN_HOUR_ON)
    assert age_ms(carry_over(some(), "one boot", now), now) == HOUR_MS


def test_two_boots_without_a_name_are_not_one() -> None:
    record = replace(some(), boot="")
    now = Now(record.at.steady + 1, record.at.wall + AN_HOUR_ON)
    assert age_ms(carry_over(record, "", now), now) == HOUR_MS


@pytest.mark.parametrize("wall", [-AN_HOUR_ON, -1_000, 11 * 365 * 24 * AN_HOUR_ON])
def test_a_wall_clock_that_went_back_or_is_not_to_be_believed_starts_every_length_anew(wall: int) -> None:
    now = Now(17, some().at.wall + wall)
    carried = carry_over(some(), "another boot", now)
    assert age_ms(carried, now) == 0
    assert carried.occupancy.since.steady == now.steady
    assert carried.slots["bench"].told is not None
    assert carried.slots["bench"].told.at.steady == now.steady


@settings(deadline=None, max_examples=30)
@given(STEPS, st.integers(0, 10 * DAY_MS), st.integers(-10 * DAY_MS, 10 * DAY_MS))
def test_no_carried_record_has_anything_in_the_future(steps: Steps, steady: int, passed: int) -> None:
    record = reached(steps, "workshop")
    now = Now(steady, record.at.wall + passed * 1_000)
    assert carry_over(record, "another boot", now).occupancy.since.steady <= now.steady


# ---- a restart -------------------------------------------------------------------------------------------------------


def happened(walker: Walker) -> list[Note]:
    """What moved."""
    return [note for note in walker.notes if isinstance(note, Moved | HoldBegun | HoldEnded | FalseOff)]


def day(random: Random, walker: Walker, steps: int) -> list[dict[str, float]]:
    """Some steps of a day drawn by chance. Returns the levels of all lamps as told, where there was time to tell."""
    levels = []
    for _ in range(steps):
        topic, payload = random.choice(SAYS)
        walker.say(topic, payload)
        span = random.choice(SPANS)
        walker.pass_ms(span)
        if span > SECOND_MS:
            told = {note.fixture: note.level for _, note in walker.told}
            levels.append(dict(sorted(told.items())))
    return levels


@pytest.mark.parametrize("seed", range(4))
def test_a_restart_at_any_step_changes_nothing_of_what_comes_after(seed: int) -> None:
    """Stopped once all is written and begun again at once, at each step. While a lamp glides it may be told a step of
    0.01 sooner or later, for it is told again at a restart.
    """
    steps = 24
    for stop in range(steps):
        random = Random(seed)
        through = Walker(HOUSE)
        day(random, through, stop)
        through.say("roof", "9000")
        through.pass_("2m")
        through.say("roof", "9000")
        again = Walker(HOUSE, through.memory, through.now, kept={"roof": "9000"})
        again.told = [*through.told, *again.told]
        again.notes, through.notes = [], []
        chance = random.getstate()
        levels = day(random, through, steps - stop)
        random.setstate(chance)
        for later, expected in zip(day(random, again, steps - stop), levels, strict=True):
            assert later == pytest.approx(expected, abs=0.01), f"stopped after {stop} steps"
        assert happened(again) == happened(through), f"stopped after {stop} steps"


def test_a_holds_length_survives_a_restart() -> None:
    walker = Walker(HOUSE)
    walker.say(HOLD, '{"hold": true, "level": 0.5, "for": "90m"}')
    begun = walker.now.steady
    walker.pass_("40m")
    again = Walker(HOUSE, walker.memory, Now(99, walker.now.wall), boot="another boot")
    again.pass_("49m")
    assert again.views["workshop"].state == "hold"
    again.pass_("2m")
    [ended] = [note for note in again.notes if isinstance(note, HoldEnded)]
    assert ended.at.steady - 99 + 40 * MINUTE_MS == 90 * MINUTE_MS
    assert begun == START_MS


def test_ends_that_lie_behind_have_come_each_at_its_own_time() -> None:
    walker = Walker(HOUSE)
    walker.say("pir", "on")
    walker.pass_("15s")
    walker.say(HOLD, '{"hold": true, "level": 0.5, "for": "3m"}')
    walker.pass_("10s")
    walker.pass_("1s")
    start = walker.now
    again = Walker(HOUSE, walker.memory, start.at(start.steady + 30 * MINUTE_MS))
    [ended] = [note for note in again.notes if isinstance(note, HoldEnded)]
    assert ended.at.steady == START_MS + 15 * SECOND_MS + 3 * MINUTE_MS
    [vacant] = [
        note for note in again.notes if isinstance(note, Moved) and (note.room, note.after) == ("workshop", "vacant")
    ]
    assert vacant.at.steady < start.steady + 30 * MINUTE_MS
    assert again.views["workshop"].since == vacant.at.wall
    assert again.level("bench") == 0


# ---- when it is written ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        (HOLD, "toggle"),
        ("leerie/room/workshop/ask", "light"),
        ("leerie/room/workshop/bias", "0.2"),
        ("wall", "up"),
        ("wall", "long"),
    ],
)
def test_a_wish_is_written_at_once_and_with_it_in_the_record(topic: str, payload: str) -> None:
    walker = Walker(HOUSE)
    walker.say("pir", "on")
    before = decoded(walker).occupancy
    outcome = walker.say(topic, payload)
    assert "workshop" in outcome.records
    after = decoded(walker).occupancy
    assert (after.hold, after.asked, after.bias) != (before.hold, before.asked, before.bias)


def test_a_move_after_quiet_is_written_at_once() -> None:
    walker = Walker(HOUSE)
    walker.pass_("20m")
    outcome = walker.say("pir", "on")
    assert "workshop" in outcome.records
    assert decoded(walker).occupancy.state is State.ARRIVING


def test_a_few_moves_are_written_at_once_and_chatter_once_a_second() -> None:
    walker = Walker(HOUSE)
    walker.pass_("20m")
    walker.forget()
    for count in range(100):
        walker.say("radar", "off" if count % 2 else "on")
        walker.say("pir", "on")
        walker.pass_ms(50)
    walker.pass_("1s")
    for room in ("workshop", "bath"):
        times = [at for at, name in walker.written if name == room]
        assert times
        for place, first in enumerate(times):
            within = [at for at in times[place:] if at < first + 3 * SECOND_MS]
            assert len(within) <= BURST + 3
        assert all(later - sooner >= SECOND_MS for sooner, later in pairwise(times[BURST:]))


def test_what_only_grows_older_is_written_once_a_minute() -> None:
    walker = Walker(HOUSE, now=instant("2026-03-02T12:00:00+00:00"))
    walker.say("radar", "on")
    walker.say("pir", "on")
    walker.pass_("3m")
    walker.forget()
    for _ in range(20 * 10):
        walker.say("radar", "on")
        walker.pass_("3s")
    times = [at for at, name in walker.written if name == "workshop"]
    assert 9 <= len(times) <= 11
    assert all(later - sooner >= MINUTE_MS for sooner, later in pairwise(times))


def test_a_room_in_which_nothing_happens_writes_nothing() -> None:
    walker = Walker(
        house("""
[day_parts.day]
blend = "0s"
starts = "00:00"
[fixtures.sign]
kind = "switched"
topic = "sign"
refresh = "never"
[rooms.porch]
fixtures = ["sign"]
[rooms.porch.scenes]
day = { sign = 1 }
""")
    )
    walker.pass_("10m")
    walker.forget()
    walker.pass_("10h")
    assert walker.written == []


def test_after_a_new_connection_every_record_goes_out() -> None:
    walker = Walker(HOUSE)
    walker.lose()
    walker.forget()
    walker.connect()
    assert {room for _, room in walker.written} == {"workshop", "bath"}


def test_a_record_names_no_moment_later_than_its_own() -> None:
    """`at` is when it was written: all that is in it came before."""
    record = some()
    assert record.occupancy.since.steady <= record.at.steady
    assert record.format == records.FORMAT
