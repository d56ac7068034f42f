"""A window that is full, and rooms that wait for it to open."""

from core.walker import Walker, house

HOUSE = """
[day_parts.always]
starts = "00:00"
[fixtures.bench]
kind = "dimmable"
topic = "bench"
payload = "$percent"
refresh = "never"
[fixtures.hoist]
kind = "dimmable"
messages = [{ topic = "hoist/on", payload = "$on" }, { topic = "hoist/level", payload = "$percent" }]
refresh = "never"
[rooms.alcove]
fixtures = ["hoist"]
scenes = { always = { hoist = 0.8 } }
[rooms.workshop]
fixtures = ["bench"]
scenes = { always = { bench = 0.8 } }
"""


def one_at_a_time() -> Walker:
    """A house at rest, whose broker takes one publish at a time, and from now on answers only when told to."""
    walker = Walker(house(HOUSE))
    walker.lose()
    walker.take(walker.controller.settled(walker.now, 1))
    walker.pass_("5m")
    walker.forget()
    walker.answers = False
    return walker


def test_a_room_that_waits_for_the_window_is_told_once_it_opens_however_many_answers_that_takes() -> None:
    walker = one_at_a_time()
    walker.say("leerie/room/alcove/bias", "-0.2")
    walker.say("leerie/room/workshop/bias", "-0.2")
    assert [publish.topic for _, publish in walker.published] == ["hoist/on", "hoist/level"]
    for publish in tuple(walker.flying):
        walker.controller.acknowledged(publish.ticket, True, walker.now)
        walker.pass_("1s")
    assert [publish.topic for _, publish in walker.published] == ["hoist/on", "hoist/level", "bench"]


def test_what_waits_for_its_pace_while_the_window_is_full_is_told_in_its_time() -> None:
    walker = one_at_a_time()
    walker.say("leerie/room/workshop/bias", "-0.2")
    walker.say("leerie/room/workshop/bias", "-0.4")
    assert len(walker.told) == 1
    walker.answer()
    walker.pass_("10s")
    assert [round(level, 2) for _, level in walker.telling("bench")] == [0.64, 0.48]
