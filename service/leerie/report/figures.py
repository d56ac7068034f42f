"""Times and lux as everybody reads them."""

from datetime import tzinfo
from math import floor, log10

from leerie.daylight.civil import local


def timestamp(wall: int, zone: tzinfo) -> str:
    """The instant `wall` (µs UTC) by RFC 3339, with the zone's offset, to the whole second."""
    return local(zone, wall).isoformat(timespec="seconds")


def lux(value: float) -> str:
    """For people: three significant digits, below 1 lx two decimals."""
    if value <= 0 or value >= 1:
        return str(illuminance(value))
    return "under 0.01" if value < 0.01 else f"{value:.2f}"


def illuminance(lux: float) -> float:
    """Three significant digits, without a fraction where there is none."""
    if lux <= 0:
        return 0
    rounded = round(lux, 2 - floor(log10(lux)))
    whole = int(rounded)
    return whole if whole == rounded else rounded
