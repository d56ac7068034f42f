"""Which of two daemons gives way."""

import json
from zoneinfo import ZoneInfo

import pytest

from leerie import __version__
from leerie.runtime.instance import FAREWELL, Instance, ailment, says_stopped

ZONE = ZoneInfo("Europe/London")
T = 1_772_440_867_000_000


def test_the_card_says_who_runs_since_when() -> None:
    instance = Instance(T, ZONE)
    assert json.loads(instance.card(T + 60_000_000)) == {
        "running": True,
        "since": "2026-03-02T08:41:07+00:00",
        "seen": "2026-03-02T08:42:07+00:00",
        "version": __version__,
        "instance": instance.name,
    }


def test_of_two_exactly_the_older_gives_way() -> None:
    older, newer = Instance(T, ZONE), Instance(T + 1_000_000, ZoneInfo("Asia/Tokyo"))
    assert older.displaced_by(newer.card(T))
    assert not newer.displaced_by(older.card(T))


def test_of_two_begun_in_one_second_exactly_one_gives_way() -> None:
    one, other = Instance(T, ZONE), Instance(T + 1, ZONE)
    assert one.displaced_by(other.card(T)) != other.displaced_by(one.card(T))


def test_nobody_gives_way_to_itself_or_to_a_farewell() -> None:
    instance = Instance(T, ZONE)
    assert not instance.displaced_by(instance.card(T + 99_000_000))
    assert not instance.displaced_by(FAREWELL)
    assert says_stopped(FAREWELL)
    assert not says_stopped(instance.card(T))


def test_a_daemon_is_well_while_it_is_seen_each_minute() -> None:
    card = Instance(T, ZONE).card(T)
    assert ailment(card, T + 149_000_000) is None
    assert ailment(card, T + 150_000_000) == "it runs but was last seen at 2026-03-02T08:41:07+00:00"
    assert ailment(FAREWELL, T) == "it is not running, or the broker has lost it"
    assert ailment(b"null", T) == ailment(b'{"running": true}', T) == "what it says about itself is not understood"


@pytest.mark.parametrize(
    "card", [b"", b"\xff", b"null", b"[]", b'{"running": 1}', b'{"running": true}', b"[" * 100_000,
             b'{"running": true, "since": "2099-01-01T00:00:00", "instance": "x"}',
             b'{"running": true, "since": "tomorrow", "instance": "x"}'],
)  # fmt: skip
def test_what_is_no_card_moves_nobody(card: bytes) -> None:
    assert not Instance(T, ZONE).displaced_by(card)
    assert not says_stopped(card)
