"""Buildings for these tests: a site, its day parts, its feeds, and nothing else."""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from leerie.config.building import Building, ClockStart, Daylight, DayPart, Feed, Site, SunStart
from leerie.config.running import Broker, Journal, Service
from leerie.daylight.sun import Event

WORKWEEK = (0, 1, 2, 3, 4)


def site(
    latitude: float,
    longitude: float,
    timezone: str = "UTC",
    holidays: str | None = None,
    days_off: tuple[tuple[date, date], ...] = (),
    workweek: tuple[int, ...] = WORKWEEK,
) -> Site:
    return Site("Saltmarket violin workshop", latitude, longitude, timezone, holidays, days_off, workweek, 3000)


GLASGOW = site(55.8569, -4.2448, "Europe/London")
TROMSO = site(69.6492, 18.9553, "Europe/Oslo")

ZONES = (
    "Pacific/Kiritimati",
    "Pacific/Chatham",
    "Pacific/Auckland",
    "Pacific/Apia",
    "Pacific/Norfolk",
    "Australia/Lord_Howe",
    "Australia/Adelaide",
    "Australia/Sydney",
    "Asia/Tokyo",
    "Asia/Shanghai",
    "Asia/Kathmandu",
    "Asia/Kolkata",
    "Asia/Tehran",
    "Asia/Gaza",
    "Africa/Cairo",
    "Africa/Casablanca",
    "Africa/Lagos",
    "Europe/London",
    "Europe/Oslo",
    "Europe/Dublin",
    "Arctic/Longyearbyen",
    "Antarctica/Troll",
    "Atlantic/Azores",
    "America/Nuuk",
    "America/St_Johns",
    "America/New_York",
    "America/Santiago",
    "America/Asuncion",
    "Pacific/Marquesas",
    "Pacific/Pago_Pago",
)
"""Thirty IANA zones, from fourteen hours ahead to eleven behind: whole, half, quarter hours, changes around midnight,
by half an hour, by two, for Ramadan, against the sun, and across the date line."""


def clock(at: str, *days: str) -> ClockStart:
    hours, minutes = at.split(":")
    return ClockStart(int(hours) * 3600 + int(minutes) * 60, days)


def with_sun(event: Event, offset_s: int = 0, *days: str) -> SunStart:
    return SunStart(event, offset_s, days)


def part(name: str, *starts: ClockStart | SunStart, earliest: str | None = None, latest: str | None = None) -> DayPart:
    def bound(at: str | None) -> int | None:
        return None if at is None else clock(at).second

    return DayPart(name, starts, bound(earliest), bound(latest), None)


def building(
    where: Site, parts: Sequence[DayPart] = (), cloud: Feed | None = None, outdoor: Feed | None = None
) -> Building:
    return Building(
        where,
        Broker("127.0.0.1", 1883, "auto", "leerie", None, None, None, "leerie", 15),
        Service(None, Journal(14, 200_000_000), None, 300_000, 10_000, None, 0),
        Daylight(100, 20_000, "log", 0.6, cloud, outdoor),
        {part.name: part for part in parts},
        {},
        {},
        {},
    )


def instant(text: str, zone: str = "UTC") -> int:
    """µs UTC of an ISO 8601 time; without an offset, on the zone's clocks."""
    moment = datetime.fromisoformat(text)
    moment = moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))
    return round(moment.astimezone(UTC).timestamp()) * 1_000_000
