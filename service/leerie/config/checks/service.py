"""Checks of the site, the broker, daylight and the day parts."""

from collections.abc import Iterator

from leerie.config import countries
from leerie.config.declared import Declared
from leerie.config.models import Config
from leerie.config.problems import Flaw, listing, nearest, one_of, shown
from leerie.config.starts import clock

LEAST_LOG_LX = 0.001
"""A clear night without a moon; less is nothing to follow."""


def service_flaws(config: Config, declared: Declared) -> Iterator[Flaw]:
    if config.site.holidays is not None:
        yield from _holidays(config.site.holidays)
    yield from _broker(config)
    yield from _daylight(config)
    yield from _bed(config.site.bed, declared.day_parts)
    for name, part in config.day_parts.items():
        if part.earliest and part.latest and clock(part.earliest) > clock(part.latest):
            problem = f"{part.latest} is before the earliest, {part.earliest}"
            yield Flaw(("day_parts", name, "latest"), problem, "the same time or later")


def _holidays(code: str) -> Iterator[Flaw]:
    try:
        countries.public_holidays(code)
    except NotImplementedError:
        country, _, subdivision = code.partition("-")
        known = countries.library().list_supported_countries()
        names = [f"{country}-{part}" for part in known[country]] if country in known else list(known)
        problem = (
            f"{shown(subdivision)} is no part of {country}" if country in known else f"{shown(country)} is no country"
        )
        allowed = f"one of {listing(names)}" if country in known else "GB or GB-SCT, as the holidays library names them"
        yield Flaw(("site", "holidays"), problem, allowed, nearest(code.upper(), names))


def _bed(bed: str | None, parts: tuple[str, ...]) -> Iterator[Flaw]:
    if bed is not None and bed not in parts:
        yield Flaw(("site", "bed"), f"there is no day part {bed}", one_of(parts), nearest(bed, parts))


def _broker(config: Config) -> Iterator[Flaw]:
    broker = config.broker
    if broker.password is not None and broker.password_file is not None:
        yield Flaw(("broker", "password_file"), "stands beside a password", "one of password and password_file")
    if broker.tls and broker.tls.key is not None and broker.tls.certificate is None:
        yield Flaw(("broker", "tls", "key"), "stands without a certificate", "a certificate too")


def _daylight(config: Config) -> Iterator[Flaw]:
    daylight = config.daylight
    if daylight.bright <= daylight.dark:
        key = "bright" if "bright" in daylight.model_fields_set else "dark"
        yield Flaw(
            ("daylight", key),
            f"bright, {daylight.bright:g} lx, is not above dark, {daylight.dark:g} lx",
            "dark < bright",
        )
    if daylight.scale == "log" and daylight.dark < LEAST_LOG_LX:
        problem = f"{daylight.dark:g} lx has no place on a logarithmic scale"
        yield Flaw(("daylight", "dark"), problem, f'{LEAST_LOG_LX:g} or more, or scale = "linear"')
