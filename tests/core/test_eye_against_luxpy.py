"""The melanopic ratio against luxpy, an independent implementation of CIE S 026/E:2018 with its action spectrum.

luxpy wants an older numpy than the other tests and is large: it has an environment of its own, which `.ci/run` makes.
"""

import warnings

import pytest

from leerie import eye

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what luxpy's own imports warn of is not ours to mend
    luxpy = pytest.importorskip("luxpy")
    photobiology = pytest.importorskip("luxpy.toolboxes.photbiochem")

MELANOPIC = 4
"""luxpy's place for it, after the three cones and the rods."""


def ratio(spectrum: object) -> float:
    return float(photobiology.spd_to_aopicDER(spectrum)[0][MELANOPIC])


@pytest.mark.parametrize("kelvin", range(1_800, 6_501, 50))
def test_black_bodies(kelvin: int) -> None:
    spectrum = luxpy.blackbody(kelvin, wl3=[380, 780, 1])
    assert eye.melanopic_der(kelvin) == pytest.approx(ratio(spectrum), abs=0.003)


def test_illuminant_a() -> None:
    assert eye.melanopic_der(2856) == pytest.approx(ratio(luxpy._CIE_ILLUMINANTS["A"]), abs=0.003)


def test_daylight_is_what_the_ratio_is_of() -> None:
    assert ratio(luxpy._CIE_ILLUMINANTS["D65"]) == pytest.approx(1, abs=0.001)


@pytest.mark.parametrize("name", ["B1", "B2", "B3", "B4", "B5", "BH1", "RGB1", "V1", "V2"])
def test_the_leds_of_the_cie_lie_within_the_spread(name: str) -> None:
    """CIE 015:2018; all that it has."""
    spectrum = luxpy._CIE_ILLUMINANTS[f"LED_{name}"]
    kelvin = float(luxpy.xyz_to_cct(luxpy.spd_to_xyz(spectrum, relative=True))[0][0])
    assert ratio(spectrum) == pytest.approx(eye.melanopic_der(kelvin), rel=eye.SPREAD)
