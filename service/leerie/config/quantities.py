"""The numbers that a key can take, each within the bounds of what it measures.

Where a number is divided by, its least is a thousandth and not just above 0, so that nothing overflows.
"""

from typing import Annotated

from pydantic import BeforeValidator, Field

from leerie.config.problems import NotAllowedError, shown
from leerie.config.values import PAIR, Allowed, checked, typed

Number = Annotated[float, Field(allow_inf_nan=False), BeforeValidator(typed), Allowed("a number")]
Fraction = Annotated[float, Field(ge=0, le=1), BeforeValidator(typed), Allowed("a number from 0 to 1")]
Share = Annotated[float, Field(ge=0.001, le=1), BeforeValidator(typed), Allowed("a number from 0.001 to 1")]
"""A part of something that is never nothing."""
Percent = Annotated[float, Field(ge=0, le=100), BeforeValidator(typed), Allowed("percent, a number from 0 to 100")]
Raw = Annotated[
    float, Field(ge=-1e12, le=1e12), BeforeValidator(typed), Allowed("a number from -1000000000000 to 1000000000000")
]
"""In a lamp's own unit."""
Port = Annotated[int, Field(ge=1, le=65_535), BeforeValidator(typed), Allowed("a port from 1 to 65535")]
Pace = Annotated[
    float, Field(ge=0.01, le=1000), BeforeValidator(typed), Allowed("commands a second, from 0.01 to 1000")
]
Days = Annotated[int, Field(ge=0, le=3650), BeforeValidator(typed), Allowed("a whole number of days from 0 to 3650")]
Megabytes = Annotated[
    int, Field(ge=1, le=1_000_000), BeforeValidator(typed), Allowed("a whole number of megabytes from 1 to 1000000")
]

# ---- where on the earth ----------------------------------------------------------------------------------------------

Latitude = Annotated[
    float, Field(ge=-90, le=90), BeforeValidator(typed), Allowed("degrees from -90 to 90, north positive")
]
Longitude = Annotated[
    float, Field(ge=-180, le=180), BeforeValidator(typed), Allowed("degrees from -180 to 180, east positive")
]

# ---- light and power -------------------------------------------------------------------------------------------------

Lux = Annotated[float, Field(ge=0, le=1_000_000), BeforeValidator(typed), Allowed("lx, a number from 0 to 1000000")]
Target = Annotated[
    float, Field(ge=0.001, le=1_000_000), BeforeValidator(typed), Allowed("lx, a number from 0.001 to 1000000")
]
Lumens = Annotated[
    float, Field(ge=0.001, le=1_000_000), BeforeValidator(typed), Allowed("lm, a number from 0.001 to 1000000")
]
Watts = Annotated[
    float, Field(ge=0.001, le=100_000), BeforeValidator(typed), Allowed("W, a number from 0.001 to 100000")
]
Standby = Annotated[float, Field(ge=0, le=100_000), BeforeValidator(typed), Allowed("W, a number from 0 to 100000")]
Area = Annotated[
    float, Field(ge=0.001, le=1_000_000), BeforeValidator(typed), Allowed("m2, a number from 0.001 to 1000000")
]
EyeRatio = Annotated[float, Field(ge=0.001, le=10), BeforeValidator(typed), Allowed("a number from 0.001 to 10")]
LampsSeen = Annotated[float, Field(ge=0, le=1000), BeforeValidator(typed), Allowed("a number from 0 to 1000")]
DaylightSeen = Annotated[
    float, Field(ge=0.001, le=1000), BeforeValidator(typed), Allowed("a number from 0.001 to 1000")
]

# ---- white and colour ------------------------------------------------------------------------------------------------

Kelvin = Annotated[
    int, Field(ge=1000, le=20_000), BeforeValidator(typed), Allowed("a whole number of kelvin from 1000 to 20000")
]
Elevation = Annotated[
    float, Field(ge=0.001, le=90), BeforeValidator(typed), Allowed("degrees of the sun's elevation, from 0.001 to 90")
]


def _chromaticity(pair: list[float]) -> None:
    x, y = pair
    if y == 0 or x + y > 1 + 1e-9:  # a sum of decimals may come out a hair high
        raise NotAllowedError(f"{shown(pair)} is no colour", "x and y of CIE 1931: y above 0, x + y at most 1")


Chromaticity = Annotated[list[Fraction], PAIR, checked(_chromaticity), Allowed("[x, y] of CIE 1931, each 0 to 1")]
