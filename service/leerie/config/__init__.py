"""The config: read from TOML, environment and secrets folder, checked as a whole, compiled once into a Building."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from leerie.config.building import Building
from leerie.config.problems import ConfigError, Flaw, Problem

if TYPE_CHECKING:
    from leerie.config.models import Config
    from leerie.config.reading import Sources

__all__ = ["ConfigError", "Flaw", "Loaded", "Problem", "load"]


class Loaded(msgspec.Struct, frozen=True):
    """A config in which nothing is wrong."""

    building: Building
    path: Path
    config: "Config"
    """As it is written; for who has to say something about it."""
    sources: "Sources"

    def suspicions(self, year: int) -> list[Flaw]:
        """What is legal but suspicious, without a walk through days. `year`: the one whose clock is looked at."""
        from leerie.config.suspicions import suspicions  # noqa: PLC0415 - only a check wants it

        return list(suspicions(self.config, self.building, self.path.parent, year))

    def located(self, flaws: Iterable[Flaw]) -> list[Problem]:
        """The flaws with the file and line of each, in the file's order."""
        return self.sources.located(flaws)


def load(path: Path, environ: Mapping[str, str]) -> Loaded:
    """Read the config at `path`, the secrets and the environment. Raises ConfigError with every problem at once."""
    from leerie.config.reading import read  # noqa: PLC0415 - pydantic takes its time; who wants a type need not wait

    building, config, sources = read(path, environ)
    return Loaded(building, path, config, sources)
