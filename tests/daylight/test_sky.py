"""Light outdoors, held against published tables, two other formulas, and three typical years of American stations."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from places import site

from leerie.daylight import sky, sun

# Plain evaluation of the polynomials of D. Vallado, Fundamentals of Astrodynamics and Applications (2022), Table 5-1:
# elevation in degrees, light in lx; at a join what the upper piece gives.
CLEAR = {
    -18: 0.0006447, -15: 0.0020233, -12: 0.0080565, -10: 0.042106, -9: 0.116394, -8: 0.348056, -7: 1.0861, -6: 3.4116,
    -5: 10.4443, -4: 29.935, -3: 79.068, -2: 189.36, -1: 404.56, -0.8333: 453.54, -0.8: 462.38, 0: 758.58, 1: 1268.0,
    2: 1920.8, 3: 2689.0, 4: 3548.0, 5: 4538.3, 8: 8172.0, 10: 11121, 15: 19228, 20: 27376, 30: 46297, 40: 67538,
    45: 77849, 50: 87386, 60: 103118, 70: 114110, 80: 121763, 90: 128825,
}  # fmt: skip
LOWER_AT_JOINS = {-12: 0.0081367, -5: 10.4057, -0.8: 463.81, 5: 4499.37, 20: 27317.9}
"""What the lower pieces give at the joins; the same source."""

ROUNDING = 1 + 1e-13


@pytest.mark.parametrize("elevation", CLEAR)
def test_clear_sky_light_is_the_published_polynomials(elevation: float) -> None:
    assert sky.clear_sky(elevation) == pytest.approx(CLEAR[elevation], rel=1e-3)


@pytest.mark.parametrize("join", LOWER_AT_JOINS)
def test_each_piece_is_the_published_one_until_it_gives_way(join: float) -> None:
    """Where the blend begins the lower piece stands alone: it heads for the published value at the join."""
    before = sky.clear_sky(join - sky.BLEND_DEG)
    slope = (before / sky.clear_sky(join - 1.1 * sky.BLEND_DEG)) ** 10
    assert before * slope == pytest.approx(LOWER_AT_JOINS[join], rel=1e-3)


@given(st.floats(-90, 90), st.floats(-90, 90))
def test_clear_sky_light_rises_with_the_sun(one: float, other: float) -> None:
    """Up to the rounding of the last digits: at 90° less 10⁻¹⁴ the sum may come out one bit above that at 90°."""
    low, high = sorted((one, other))
    assert sky.clear_sky(low) <= sky.clear_sky(high) * ROUNDING
    assert sky.clear_sky(high) <= sky.clear_sky(90) * ROUNDING


def test_clear_sky_light_rises_through_its_joins() -> None:
    """Every ten-thousandth of a degree there, and never by more than 0.2 % at once."""
    for join in LOWER_AT_JOINS:
        lights = [sky.clear_sky(join + step / 10_000) for step in range(-500, 500)]
        assert all(before < after < 1.002 * before for before, after in pairwise(lights))


def test_below_the_last_of_twilight_the_light_stays() -> None:
    assert sky.clear_sky(-18) == sky.clear_sky(-18.0001) == sky.clear_sky(-90) > 0


@pytest.mark.parametrize(
    ("elevation", "light"),
    [(-9, 0.11588), (-6, 2.992), (-0.8333, 437.8), (0, 756.6), (10, 11080), (45, 80015), (90, 123789)],
)
def test_another_formula_for_the_clear_sky_agrees(elevation: float, light: float) -> None:
    """P. M. Janiczek, J. A. DeYoung, US Naval Observatory Circular 171 (1987): another formula, within 15 %."""
    assert sky.clear_sky(elevation) == pytest.approx(light, rel=0.15)


# F. Kasten, G. Czeplak, Solar Energy 24 (1980) 177-189: what 0 to 8 oktas leave. The diffuse share: from memory.
OKTAS = (1.0, 0.9994, 0.9933, 0.9733, 0.9290, 0.8483, 0.7180, 0.5237, 0.25)
SHARES = (0.3, 0.3109, 0.3438, 0.3984, 0.4750, 0.5734, 0.6938, 0.8359, 1.0)


@pytest.mark.parametrize("okta", range(9))
def test_cloud_takes_what_kasten_and_czeplak_measured(okta: int) -> None:
    assert sky.cloud_factor(okta / 8) == pytest.approx(OKTAS[okta], abs=1e-4)
    assert sky.cloud_behind(OKTAS[okta]) == pytest.approx(okta / 8, abs=0.01)
    assert sky.diffuse(50_000, 40, okta / 8) == pytest.approx(50_000 * SHARES[okta], abs=5)


@given(st.floats(0, 1))
def test_the_cloud_behind_a_factor_is_the_cloud_that_made_it(cloud: float) -> None:
    assert sky.cloud_factor(sky.cloud_behind(sky.cloud_factor(cloud))) == pytest.approx(sky.cloud_factor(cloud))


@given(st.floats(0, 1e9))
def test_any_factor_has_a_cloud_behind_it(factor: float) -> None:
    assert 0 <= sky.cloud_behind(factor) <= 1


@pytest.mark.parametrize(("elevation", "light"), [(10, 3947), (20, 7482), (30, 10_800), (45, 15_149), (60, 18_487)])
def test_an_overcast_sky_gives_what_an_overcast_sky_gives(elevation: float, light: float) -> None:
    """CIE overcast sky after Krochmann, 300 + 21000 sin h (from memory; Radiance's gensky gives the same within 0.2 %).

    An independent formula for another mean of clouds: within a factor of 1.5.
    """
    assert 1 / 1.5 < sky.clear_sky(elevation) * sky.cloud_factor(1) / light < 1.5


@given(st.floats(0, 2e5), st.floats(-90, 90), st.floats(0, 1))
def test_diffuse_light_is_part_of_the_whole_and_all_of_it_while_the_sun_is_down(
    outdoor: float, elevation: float, cloud: float
) -> None:
    part = sky.diffuse(outdoor, elevation, cloud)
    assert 0 <= part <= outdoor * (1 + 1e-12)
    if elevation <= 0:
        assert part == outdoor


@given(st.floats(0, 1))
def test_the_suns_coming_up_takes_nothing_from_the_sky(cloud: float) -> None:
    lights = [
        sky.diffuse(sky.clear_sky(elevation) * sky.cloud_factor(cloud), elevation, cloud)
        for elevation in np.arange(-2, 20, 0.05)
    ]
    assert all(before <= after * (1 + 1e-12) for before, after in pairwise(lights))


# ---- typical years ---------------------------------------------------------------------------------------------------

DATA = Path(pvlib.__file__).parent / "data"


def _typical_year(name: str) -> tuple[sun.Site, np.ndarray, pd.DataFrame]:
    """A station, the middle second of each of its hours, and the hour's cloud (tenths) and illuminance (lx).

    The older format and the Greensboro file give illuminance in hundreds of lux, whatever its heading says.
    """
    if name.endswith(".tm2"):
        year, meta = pvlib.iotools.read_tmy2(DATA / name)
        columns, unit, middle = ["TotCld", "GHillum", "DHillum"], 100, 1800
    else:
        year, meta = pvlib.iotools.read_tmy3(DATA / name, coerce_year=2001, map_variables=False)
        columns, unit, middle = ["TotCld (tenths)", "GH illum (lx)", "DH illum (lx)"], 1, -1800
        unit = 100 if name.startswith("723170") else 1
    seconds = year.index.tz_convert("UTC").as_unit("s").asi8 + middle
    hours = year[columns].set_axis(["cloud", "outdoor", "diffuse"], axis="columns").astype(float)
    hours[["outdoor", "diffuse"]] *= unit
    return site(meta["latitude"], meta["longitude"]), seconds, hours


@pytest.mark.parametrize("name", ["703165TY.csv", "723170TYA.CSV", "12839.tm2"])
def test_cloud_cover_alone_tells_the_light_within_a_factor_of_two_most_of_the_time(name: str) -> None:
    """Sand Point, Greensboro, Miami: NREL's typical meteorological years 2 and 3, as pvlib 0.16 carries them.

    The least share of hours within a factor of two, by the sun's elevation, that a formula of cloud cover alone reaches
    there; below 10° the stations' own figures are models too.
    """
    where, seconds, hours = _typical_year(name)
    elevations = np.array([sun.position(where, int(second) * 1_000_000).elevation for second in seconds])
    clouds = np.clip(hours["cloud"].to_numpy() / 10, 0, 1)
    estimates = np.array([sky.clear_sky(h) * sky.cloud_factor(n) for h, n in zip(elevations, clouds, strict=True)])
    diffuse = np.array([sky.diffuse(e, h, n) for e, h, n in zip(estimates, elevations, clouds, strict=True)])
    for lowest, highest, share in ((10, 20, 0.78), (20, 40, 0.82), (40, 90, 0.9)):
        band = (elevations >= lowest) & (elevations < highest) & (hours["outdoor"] > 0).to_numpy()
        assert band.sum() > 500
        for estimate, measured in ((estimates, hours["outdoor"]), (diffuse, hours["diffuse"])):
            ratio = estimate[band] / measured.to_numpy()[band]
            assert np.mean((ratio > 0.5) & (ratio < 2)) > share
