"""Where the sun stands, and when it rises, culminates and sets.

Declination and equation of time are astral's, good to 0.013° against NREL's Solar Position Algorithm; the triangle
between pole, zenith and sun is worked out here, which keeps it continuous below a second and exact near the zenith.
Elevation is that of the disk's centre, without refraction.

Events belong to the *solar* day: those of a date lie within half a day of the solar noon that falls on it, on whichever
civil date that may be. They are found by searching the elevation, because an event may not happen at all, and then it
matters on which side of the horizon the sun stays.
"""

from datetime import date
from functools import lru_cache
from math import acos, atan2, cos, degrees, hypot, pi, radians, sin
from typing import Literal, TypeAlias

import msgspec
from astral.sun import eq_of_time, sun_declination

from leerie.config.building import Site

Event: TypeAlias = Literal["dawn", "sunrise", "noon", "sunset", "dusk"]
Throughout: TypeAlias = Literal["above", "below"]
"""Which side of an event's elevation the sun keeps to instead of crossing it."""

DAY_S = 86_400
EVENTS_KEPT = 512
"""Every restart and reload looks at the same few weeks."""
EPOCH = date(1970, 1, 1)
J2000_S = 946_728_000
"""2000-01-01 12:00 UTC, in seconds since 1970."""
CENTURY_S = 36_525 * DAY_S
ELEVATIONS: dict[Event, float] = {"dawn": -6.0, "sunrise": -0.8333, "sunset": -0.8333, "dusk": -6.0}
"""Degrees: civil twilight; upper limb on the horizon under standard refraction (US Naval Observatory's definitions; the
numbers from memory)."""


class Position(msgspec.Struct, frozen=True):
    elevation: float
    """Degrees above the horizon, -90…90, unrefracted."""
    azimuth: float
    """Degrees from north through east, 0…360."""


def position(site: Site, wall: int) -> Position:
    """Where the sun stands at `wall` (µs UTC), by the spherical triangle's rules, within 0.02°."""
    declination, hour_angle = _coordinates(site.longitude, wall / 1e6)
    latitude = radians(site.latitude)
    up = sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * cos(hour_angle)
    north = cos(latitude) * sin(declination) - sin(latitude) * cos(declination) * cos(hour_angle)
    east = -cos(declination) * sin(hour_angle)
    return Position(degrees(atan2(up, hypot(north, east))), degrees(atan2(east, north)) % 360)


@lru_cache(maxsize=EVENTS_KEPT)
def event(site: Site, name: Event, day: date, offset_s: int) -> int | Throughout:
    """When that date's event happens (µs UTC, whole seconds), or which side of its elevation the sun keeps to.

    `offset_s`: the site's zone on that date, seconds east of UTC; it says which solar noon is the date's.
    """
    noon = _noon(site.longitude, day, offset_s)
    if name == "noon":
        return round(noon) * 1_000_000
    half_day = DAY_S / 2 if name in {"sunset", "dusk"} else -DAY_S / 2
    found = _crossing(site, noon, noon + half_day, sin(radians(ELEVATIONS[name])))
    return found if isinstance(found, str) else round(found) * 1_000_000


def _coordinates(longitude: float, second: float) -> tuple[float, float]:
    """Declination and local hour angle in radians."""
    century = (second - J2000_S) / CENTURY_S
    solar_degrees = (second % DAY_S) / 240 + longitude + eq_of_time(century) / 4
    return radians(sun_declination(century)), radians(solar_degrees - 180)


def _sine(site: Site, second: float) -> float:
    """The sine of the elevation."""
    declination, hour_angle = _coordinates(site.longitude, second)
    latitude = radians(site.latitude)
    return sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * cos(hour_angle)


def _noon(longitude: float, day: date, offset_s: int) -> float:
    """When the sun stands on the meridian on that civil date (s UTC).

    Mean time says which noon that is: even where noon falls near the zone's midnight a date has one and only one.
    """
    midnight = (day - EPOCH).days * DAY_S
    mean = midnight + DAY_S / 2 - longitude * 240
    mean -= (mean + offset_s - midnight) // DAY_S * DAY_S
    return mean - 60 * eq_of_time((mean - J2000_S) / CENTURY_S)


def _crossing(site: Site, noon: float, midnight: float, sine: float) -> float | Throughout:
    """When between a solar noon and a solar midnight next to it the elevation has that sine (s UTC).

    By false position: the sine of the elevation is all but linear in the cosine of the hour angle, so that about four
    looks come within a second.
    """
    above, below = _sine(site, noon) - sine, _sine(site, midnight) - sine
    if above < 0:
        return "below"
    if below >= 0:
        return "above"
    high, low = 1.0, -1.0
    second = noon
    while True:
        cosine = min(1.0, low - below * (high - low) / (above - below))
        last, second = second, noon + (midnight - noon) * acos(cosine) / pi
        if abs(second - last) < 0.5:
            return second
        excess = _sine(site, second) - sine
        if excess >= 0:
            high, above = cosine, excess
        else:
            low, below = cosine, excess
