"""Text can be read on any light, and light looks like what it is."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leerie import tint
from leerie.cli.demo import paint
from leerie.rehearsal.lamps import Glow
from leerie.tint import Rgb

COLOURS = st.tuples(*[st.integers(0, 255)] * 3)
GLOWS = st.builds(Glow, st.floats(0, 1), st.integers(1000, 10_000), st.none())
READABLE = 4.5
"""WCAG 2.2, success criterion 1.4.3, level AA; from memory."""


def test_contrast_is_that_of_the_standard() -> None:
    """WCAG 2.2: 21:1 is black on white; #767676 is the lightest grey that passes 4.5:1 on white. From memory."""
    assert tint.contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert tint.contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.005)
    assert tint.contrast((0x77, 0x77, 0x77), (255, 255, 255)) < READABLE


@given(COLOURS, COLOURS)
def test_any_colour_can_be_made_legible_on_any_other(wanted: Rgb, ground: Rgb) -> None:
    for ink in (paint.legible(wanted, ground), paint.quiet(ground), paint.ink(ground)):
        assert tint.contrast(ink, ground) >= READABLE


def test_what_is_legible_already_stays_as_it_is() -> None:
    assert paint.legible((255, 200, 100), (10, 10, 20)) == (255, 200, 100)


def test_a_dark_room_is_blue_grey_and_a_lit_one_has_the_colour_of_its_lamps() -> None:
    dark = paint.wall([Glow(0, 2700, None)], 0)
    warm = paint.wall([Glow(1, 2700, None)], 0)
    red = paint.wall([Glow(1, None, (255, 0, 0))], 0)
    assert dark[2] > dark[0]
    assert warm[0] > warm[1] > warm[2]
    assert red[0] > 150
    assert max(red[1:]) < 40


def test_a_wall_mixes_its_lamps_by_how_much_they_shine() -> None:
    red, blue = Glow(1, None, (255, 0, 0)), Glow(0.05, None, (0, 0, 255))
    mixed = paint.wall([red, blue], 0)
    assert mixed[0] > 4 * mixed[2]
    assert paint.wall([red, Glow(0, None, (0, 0, 255))], 0)[2] < mixed[2] + 30


@given(st.lists(GLOWS, min_size=1, max_size=4))
def test_more_light_is_never_darker(glows: list[Glow]) -> None:
    """Each lamp of the room half as bright as it is."""
    dimmed = [Glow(glow.light / 2, glow.kelvin, None) for glow in glows]
    assert sum(paint.wall(dimmed, 0)) <= sum(paint.wall(glows, 0)) + 3
    for less, more in zip(dimmed, glows, strict=True):
        assert all(a <= b for a, b in zip(paint.lamp(less), paint.lamp(more), strict=True))


def test_the_sky_brightens_with_the_sun_and_greys_with_cloud() -> None:
    brightness = [sum(tint.sky(elevation, 0.5)) for elevation in (-20, -10, -4, 0, 5, 15)]
    assert all(before < after for before, after in pairwise(brightness))
    clear, closed = tint.sky(20, 1), tint.sky(20, 1, 1.0)
    assert max(closed) - min(closed) < max(clear) - min(clear)


@given(st.floats(-90, 90), st.floats(0, 1), st.floats(0, 1))
def test_every_sky_has_a_colour(elevation: float, height: float, cloud: float) -> None:
    assert all(0 <= channel <= 255 for channel in tint.sky(elevation, height, cloud))
    assert 0 <= tint.daylight(elevation, cloud) <= 1
