"""Typical years of three American stations, and how the light outdoors that cloud cover tells compares with theirs.

NREL's typical meteorological years 2 and 3, as pvlib 0.16 carries them. Their illuminance below 10° is itself
a model's.
"""

from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pvlib
from places import site

from leerie.daylight import sky, sun

YEARS = {"Sand Point": "703165TY.csv", "Greensboro": "723170TYA.CSV", "Miami": "12839.tm2"}


class Ratios(NamedTuple):
    """What is told over what the year has, hour by hour."""

    outdoor: np.ndarray
    diffuse: np.ndarray


class TypicalYear(NamedTuple):
    """Hour by hour: where the sun stood (degrees), what was told and what the year has (lx)."""

    elevation: np.ndarray
    told: Ratios
    had: Ratios

    def ratios(self, lowest: float, highest: float) -> Ratios:
        """Of the hours with the sun in that band of elevations and with any light at all."""
        band = (self.elevation >= lowest) & (self.elevation < highest) & (self.had.outdoor > 0) & (self.had.diffuse > 0)
        return Ratios(*(told[band] / had[band] for told, had in zip(self.told, self.had, strict=True)))


@cache
def typical_year(station: str) -> TypicalYear:
    """The station's year beside the light that its cloud cover tells in the middle of each hour.

    The older format and the Greensboro file give illuminance in hundreds of lux, whatever its heading says.
    """
    path = Path(pvlib.__file__).parent / "data" / YEARS[station]
    if path.suffix == ".tm2":
        year, meta = pvlib.iotools.read_tmy2(path)
        columns, middle = ["TotCld", "GHillum", "DHillum"], 1800
    else:
        year, meta = pvlib.iotools.read_tmy3(path, coerce_year=2001, map_variables=False)
        columns, middle = ["TotCld (tenths)", "GH illum (lx)", "DH illum (lx)"], -1800
    unit = 1 if station == "Sand Point" else 100
    seconds = year.index.tz_convert("UTC").as_unit("s").asi8 + middle
    tenths, outdoor, diffuse = (year[column].to_numpy(float) for column in columns)
    where = site(meta["latitude"], meta["longitude"])
    elevations = np.array([sun.position(where, int(second) * 1_000_000).elevation for second in seconds])
    clouds = np.clip(tenths / 10, 0, 1)
    lights = np.array([sky.clear_sky(h) * sky.cloud_factor(n) for h, n in zip(elevations, clouds, strict=True)])
    parts = np.array([sky.diffuse(e, h, n) for e, h, n in zip(lights, elevations, clouds, strict=True)])
    return TypicalYear(elevations, Ratios(lights, parts), Ratios(outdoor * unit, diffuse * unit))
