"""Public holidays, as the holidays library has them, without waiting for the countries that nobody asked for."""

import importlib
import sys
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from holidays import HolidayBase

COUNTRIES = "holidays.countries"


def public_holidays(place: str) -> "HolidayBase":
    """The holidays of a country or country-subdivision, such as GB or GB-SCT.

    Raises NotImplementedError for what the library does not know.
    """
    country, dash, subdivision = place.partition("-")
    holidays: HolidayBase = library().country_holidays(country, subdiv=subdivision if dash else None)
    return holidays


def library() -> ModuleType:
    """The holidays library, loaded so that it reads each country only when it is asked for.

    Its package of countries imports all of its 250 modules by itself, a sixth of a second and some megabytes. Each of
    them is whole without the others, so here the package stands empty and finds its modules by name.
    """
    holidays = importlib.import_module("holidays")
    if COUNTRIES not in sys.modules:
        package = ModuleType(COUNTRIES)
        package.__path__ = [str(Path(folder) / "countries") for folder in holidays.__path__]
        sys.modules[COUNTRIES] = package
    return holidays
