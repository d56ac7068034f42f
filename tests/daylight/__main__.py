"""python tests/daylight: how far the light that cloud cover tells is from typical years, by the sun's elevation."""

import numpy as np
from typical_years import YEARS, typical_year

BANDS = ((0, 5), (5, 10), (10, 20), (20, 40), (40, 90))

print(f"{'station':<12}{'elevation':>10}{'hours':>7}   within a factor of two, median told/had: outdoor, diffuse")
for station in YEARS:
    for lowest, highest in BANDS:
        ratios = typical_year(station).ratios(lowest, highest)
        said = [f"{np.mean((r > 0.5) & (r < 2)):6.0%} {np.median(r):6.2f}" for r in ratios]
        print(f"{station:<12}{f'{lowest}-{highest}°':>10}{len(ratios.outdoor):>7}   {'   '.join(said)}")
