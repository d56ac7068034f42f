"""What lamps look like on a screen, against an independent implementation."""

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leerie import tint
from leerie.tint import Rgb

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns on import of plotting libraries that are not there
    colour_science = importlib.import_module("colour")

COLOURS = st.tuples(*[st.integers(0, 255)] * 3)


@pytest.mark.parametrize("kelvin", [1_800, 2_200, 2_700, 3_000, 4_000, 5_000, 6_500])
def test_a_white_has_the_colour_of_its_black_body(kelvin: int) -> None:
    """colour-science 0.4.7: CCT_to_uv_Ohno2013 (on the locus), XYZ_to_sRGB (IEC 61966-2-1:1999), cut at 0 and scaled in
    linear light so that the largest is 1.
    """
    xy = colour_science.UCS_uv_to_xy(colour_science.temperature.CCT_to_uv_Ohno2013([kelvin, 0.0]))
    linear = colour_science.XYZ_to_sRGB(colour_science.xy_to_XYZ(xy), apply_cctf_encoding=False)
    scaled = np.clip(linear, 0, None) / linear.max()
    expected = 255 * colour_science.cctf_encoding(scaled, function="sRGB")
    assert np.abs(np.array(tint.of_white(kelvin)) - expected).max() <= 1.5


def test_whites_go_from_amber_to_blueish() -> None:
    blues = [tint.of_white(kelvin)[2] for kelvin in (1_800, 2_700, 4_000, 6_500)]
    assert blues == sorted(set(blues))
    assert tint.of_white(9_000)[0] < 255


@given(COLOURS, COLOURS)
def test_contrast_goes_by_luminance(first: Rgb, second: Rgb) -> None:
    """WCAG 2.2's ratio, luminances by colour-science 0.4.7 (sRGB_to_XYZ)."""
    dark, light = sorted(float(colour_science.sRGB_to_XYZ(np.array(rgb) / 255)[1]) for rgb in (first, second))
    assert tint.contrast(first, second) == pytest.approx((light + 0.05) / (dark + 0.05), rel=1e-3)


def test_lamps_together_count_by_their_light() -> None:
    assert tint.together([((255, 0, 0), 0.3), ((0, 0, 255), 0.1)]) == (191, 0, 64)
    assert tint.together([((10, 20, 30), 1e-9)]) == (10, 20, 30)
