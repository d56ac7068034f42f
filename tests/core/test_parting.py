"""What a reload leaves behind: which lamps are told off, and which are left as they are."""

import pytest
from msgspec.structs import replace

from core.walker import Walker, house
from leerie.config.building import Building
from leerie.parting import PARTING_EXPIRY_S, Partings, part

HOUSE = """
[day_parts.day]
starts = "00:00"
[sensors.radar]
kind = "presence"
topic = "radar"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$percent"
[fixtures.sign]
kind = "switched"
topic = "sign"
payload = "$on"
words = { on = "CLOSE", off = "OPEN" }
[fixtures.stair]
kind = "dimmable"
topic = "stair"
payload = "$percent"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench"]
scenes = { day = { bench = 0.8 } }
[rooms.shop]
sensors = ["radar"]
fixtures = ["sign"]
scenes = { day = { sign = 1 } }
[rooms.stairs]
sensors = ["radar"]
fixtures = ["stair"]
egress = true
grace = "15m"
scenes = { day = { stair = 0.8 }, vacant = { stair = 0.2 } }
"""
BEFORE = house(HOUSE)


def without(*rooms: str) -> Building:
    left = {name: room for name, room in BEFORE.rooms.items() if name not in rooms}
    lamps = {lamp for room in left.values() for lamp in room.fixtures}
    return replace(BEFORE, rooms=left, fixtures={k: lamp for k, lamp in BEFORE.fixtures.items() if k in lamps})


def memory(*wishes: tuple[str, str]) -> dict[str, bytes]:
    walker = Walker(BEFORE)
    walker.say("radar", "1")
    for room, wish in wishes:
        walker.say(f"leerie/room/{room}/hold", wish)
    return walker.controller.handover(walker.now)


def test_the_lamps_of_a_room_that_is_gone_are_told_off_once_in_their_own_words() -> None:
    parting = part(BEFORE, without("workshop", "shop"), memory())
    assert parting.rooms == ("workshop", "shop")
    assert parting.commands == (("bench", b"0"), ("sign", b"OPEN"))


def test_nothing_is_told_where_nothing_is_gone() -> None:
    assert part(BEFORE, BEFORE, memory()) == part(BEFORE, without(), memory())
    assert part(BEFORE, BEFORE, memory()).commands == ()


def test_an_escape_route_is_not_left_dark() -> None:
    parting = part(BEFORE, without("stairs"), memory())
    assert (parting.rooms, parting.commands) == (("stairs",), ())


@pytest.mark.parametrize(
    ("hold", "told"), [("start", ()), ('{"hold": true, "level": 0.4}', (("bench", b"0"),)), ("end", (("bench", b"0"),))]
)
def test_a_lamp_that_somebody_has_taken_over_is_left_to_them(hold: str, told: tuple[tuple[str, bytes], ...]) -> None:
    assert part(BEFORE, without("workshop"), memory(("workshop", hold))).commands == told


def test_a_lamp_that_another_room_takes_is_that_rooms() -> None:
    """By its topic: its name in the config is nobody's business but ours."""
    moved = replace(
        without("workshop"),
        rooms={"shop": replace(BEFORE.rooms["shop"], fixtures=("sign", "work_lamp"))},
        fixtures={
            "sign": BEFORE.fixtures["sign"],
            "work_lamp": replace(BEFORE.fixtures["bench"], name="work_lamp"),
        },
    )
    assert part(BEFORE, moved, memory()).commands == ()


def test_a_lamp_taken_out_of_a_room_that_stays_is_told_off() -> None:
    bare = replace(
        BEFORE,
        rooms={**BEFORE.rooms, "workshop": replace(BEFORE.rooms["workshop"], fixtures=())},
        fixtures={name: lamp for name, lamp in BEFORE.fixtures.items() if name != "bench"},
    )
    parting = part(BEFORE, bare, memory())
    assert (parting.rooms, parting.commands) == ((), (("bench", b"0"),))


def test_a_lamp_left_behind_without_a_connection_is_told_off_once_there_is_one_and_once_only() -> None:
    partings = Partings()
    assert partings.part(BEFORE, without("workshop", "shop"), memory()) == ("workshop", "shop")
    told = [(publish.topic, publish.payload, publish.expiry_s) for publish in partings.say()]
    assert told == [("bench", b"0", PARTING_EXPIRY_S), ("sign", b"OPEN", PARTING_EXPIRY_S)]
    assert partings.say() == ()


def test_a_lamp_that_is_back_before_it_could_be_told_off_is_left_to_its_room() -> None:
    partings = Partings()
    partings.part(BEFORE, without("workshop", "shop"), memory())
    assert partings.part(without("workshop", "shop"), without("shop"), memory()) == ()
    assert [publish.topic for publish in partings.say()] == ["sign"]
