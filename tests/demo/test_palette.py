"""A terminal of 256 colours shows the one that looks most like the colour wanted."""

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leerie.cli.demo import palette
from leerie.tint import Rgb

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns on import of plotting libraries that are not there
    colour_science = importlib.import_module("colour")

LEVELS = (0, 95, 135, 175, 215, 255)
ALL = np.array(
    [(r, g, b) for r in LEVELS for g in LEVELS for b in LEVELS] + [(grey, grey, grey) for grey in range(8, 248, 10)]
)
HAIR = 0.01


def _lab(rgb: np.ndarray) -> np.ndarray:
    """By colour-science 0.4: sRGB decoded as IEC 61966-2-1:1999 has it, CIE 1976 L*a*b* under D65."""
    white = colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return np.asarray(colour_science.XYZ_to_Lab(colour_science.sRGB_to_XYZ(rgb / 255), white))


NEAR = _lab(ALL)


@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_the_nearest_is_taken(rgb: Rgb) -> None:
    shown = palette.indexed(rgb)
    assert any((shown == ALL).all(axis=1))
    wanted = _lab(np.array(rgb))
    nearest = np.linalg.norm(NEAR - wanted, axis=1).min()
    assert np.linalg.norm(_lab(np.array(shown)) - wanted) <= nearest + HAIR


@pytest.mark.parametrize("rgb", [(0, 0, 0), (255, 255, 255), (135, 95, 175), (118, 118, 118)])
def test_what_the_terminal_has_stays_as_it_is(rgb: Rgb) -> None:
    assert palette.indexed(rgb) == rgb


@pytest.mark.parametrize(
    ("colours", "shown"), [("truecolor", (100, 60, 30)), ("standard", None), ("windows", None), (None, None)]
)
def test_each_terminal_gets_what_it_can_show(colours: str | None, shown: Rgb | None) -> None:
    assert palette.of(colours)((100, 60, 30)) == shown
