"""Lamps that take leerie's payloads apart again shine as bright as leerie meant them to."""

import math

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leerie.config.building import Building, Fixture, Wire
from leerie.config.payload import Slot, Text, parse
from leerie.fixtures.lamp import Lamp as Sender
from leerie.rehearsal.lamps import Glow, Lamp

COARSEST = 0.02
"""Level is perceived brightness; a lamp told whole percents of device level can be off by so much."""


def _shine(fixture: Fixture, level: float, kelvin: int = 3000) -> Glow:
    lamp = Lamp(fixture)
    for topic, payload in Sender(fixture).messages(level, None if fixture.kelvin is None else kelvin, 1_000):
        assert topic in lamp.topics
        assert lamp.hear(topic, payload)
    return lamp.glow()


@settings(deadline=None)
@given(level=st.floats(0.1, 1), data=st.data())
def test_a_lamp_shines_at_the_level_it_was_meant_to(example: Building, level: float, data: st.DataObject) -> None:
    dimmed = [fixture for fixture in example.fixtures.values() if fixture.kind != "switched"]
    fixture = data.draw(st.sampled_from(dimmed))
    shown = math.sqrt(_shine(fixture, level).light)
    lowest = math.sqrt(_shine(fixture, 1e-6).light)
    assert shown == pytest.approx(max(level, lowest), abs=COARSEST)


def test_makers_speak_differently(example: Building) -> None:
    """The payloads of the example have at least six shapes: tables and lists, bare values, texts, words, two topics."""
    shapes = {repr([wire.payload.root for wire in fixture.messages]) for fixture in example.fixtures.values()}
    first = [fixture.messages[0].payload for fixture in example.fixtures.values()]
    assert len(shapes) >= 6
    assert {type(payload.root) for payload in first} == {dict, Slot, Text}
    assert any(len(fixture.messages) > 1 for fixture in example.fixtures.values())
    assert any(fixture.words is not None for fixture in example.fixtures.values())
    assert any(fixture.when_off is not None for fixture in example.fixtures.values())


def test_off_is_dark_and_on_is_not_for_every_lamp(example: Building) -> None:
    for fixture in example.fixtures.values():
        assert _shine(fixture, 0).light == 0
        assert _shine(fixture, 1).light == pytest.approx(1, abs=0.01)


def test_a_lamp_goes_off_when_it_is_told_so(example: Building) -> None:
    """The same lamp, told on and then off in its other words."""
    fixture = example.fixtures["bath_mirror"]
    lamp = Lamp(fixture)
    for level in (0.7, 0):
        for topic, payload in Sender(fixture).messages(level, None, 0):
            assert lamp.hear(topic, payload)
    assert lamp.glow().light == 0


@settings(deadline=None)
@given(kelvin=st.integers(2200, 5000))
def test_a_white_arrives(example: Building, kelvin: int) -> None:
    """Within the step of whole mireds: half of one is 12.5 K at 5000 K."""
    shown = _shine(example.fixtures["kitchen_ceiling"], 0.5, kelvin).kelvin
    assert shown == pytest.approx(kelvin, abs=13)


def test_a_warm_colour_is_red_before_it_is_blue(example: Building) -> None:
    glow = _shine(example.fixtures["bedside_lamp"], 0.5, 1800)
    assert glow.rgb is not None
    red, green, blue = glow.rgb
    assert red == 255
    assert red > green > blue


@pytest.mark.parametrize(
    ("payload", "heard"),
    [
        ({"lit": "$on", "deep": {"list": ["$percent", 7]}}, b'{"lit":true,"deep":{"list":[50,7]}}'),
        ("set $percent in $fade s", b"set 50 in 1 s"),
        ("$percent", b"50"),
    ],
)
def test_a_payload_is_taken_apart_as_it_was_put_together(example: Building, payload: object, heard: bytes) -> None:
    wire = Wire("t", parse(payload))
    lamp = Lamp(msgspec.structs.replace(example.fixtures["kitchen_counter"], messages=(wire,)))
    assert lamp.hear("t", heard)
    assert lamp.glow().light == pytest.approx(0.5)


@pytest.mark.parametrize("payload", [b"", b"set fifty", b"{}", b"[1]", b'{"lit":true}', b'{"lit":true,"deep":[1]}'])
def test_what_a_lamp_cannot_make_sense_of_leaves_it_as_it_is(example: Building, payload: bytes) -> None:
    wire = Wire("t", parse({"lit": "$on", "deep": {"list": ["$percent", 7]}}))
    lamp = Lamp(msgspec.structs.replace(example.fixtures["kitchen_counter"], messages=(wire,)))
    assert not lamp.hear("t", payload)
    assert not lamp.hear("elsewhere", payload)
    assert lamp.glow().light == 0


def test_a_lamp_that_was_told_nothing_is_dark(example: Building) -> None:
    assert all(Lamp(fixture).glow().light == 0 for fixture in example.fixtures.values())
