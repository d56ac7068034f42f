"""Where values come from: the file, a folder of secrets, the environment; each wins over the one before it.

pydantic-settings turns variables into nested tables. What it passes over in silence is seen to here: a variable that no
key answers to, a secret that cannot be read, a room that only a misspelt variable knows.
"""

import json
from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

from pydantic.fields import FieldInfo
from pydantic_settings import EnvSettingsSource

from leerie.config.models import Config
from leerie.config.problems import Path, Problem, listing, nearest
from leerie.config.shapes import leaf_keys
from leerie.config.values import EnvironmentText

PREFIX = "LEERIE_"
SECRETS_DIR = "LEERIE_SECRETS_DIR"
BESIDE_CONFIG = ("LEERIE_CONFIG", SECRETS_DIR)
"""Variables that are leerie's and no keys of the config."""
NAMED_SECTIONS = ("day_parts", "sensors", "fixtures", "rooms")


class Variables:
    """Values by name: environment variables, or secrets, whose names are built alike."""

    def __init__(
        self, places: Mapping[str, str], values: Mapping[str, str], file: Mapping[str, Any], *, secret: bool = False
    ) -> None:
        """`places`: what to call each name in a problem; `values`: their values. Names are in any case.

        `secret`: no value is ever shown.
        """
        self.secret = secret
        self._places = {name.lower(): place for name, place in sorted(places.items())}
        self.strays = {name: problem for name in self._places if (problem := self._stray(name, file)) is not None}
        """Names that no key answers to; single keys of a lamp, sensor, room or day part that nothing declares."""
        known = {name.lower(): value for name, value in sorted(values.items()) if name.lower() not in self.strays}
        self.table: dict[str, Any] = _Nested(known)()

    def holds(self, path: Path) -> bool:
        return reaches(self.table, path)

    def place(self, path: Path) -> str:
        """The name that gives the key or a table around it, the longest such; else one that gives a key beside it."""
        texts = [str(part).lower() for part in path]
        names = [PREFIX.lower() + "__".join(texts[:end]) for end in range(len(texts), 0, -1)]
        around = [self._places[name] for name in names if name in self._places]
        beside = (place for name in names for known, place in self._places.items() if known.startswith(f"{name}__"))
        return around[0] if around else next(beside, PREFIX)

    def _stray(self, name: str, file: Mapping[str, Any]) -> Problem | None:
        section, *rest = name.removeprefix(PREFIX.lower()).split("__")
        if section not in Config.model_fields:
            allowed = "LEERIE_ and a key of the config, as in LEERIE_BROKER__HOST"
            return Problem(self._places[name], None, "", "unknown variable", allowed, _nearest_variable(name))
        whole = (f"{PREFIX}{section}".lower(), f"{PREFIX}{section}__{rest[0] if rest else ''}".lower())
        declared = len(rest) < 2 or reaches(file, (section, rest[0])) or any(name in self._places for name in whole)
        if section not in NAMED_SECTIONS or declared:
            return None
        known = list(file[section]) if isinstance(file.get(section), dict) else []
        key = f"{section}.{rest[0]}"
        allowed = f"declared: {listing(known)}"
        return Problem(self._places[name], None, key, "is not declared", allowed, nearest(rest[0], known))


class _Nested(EnvSettingsSource):
    """Nested tables out of flat names, from a mapping instead of the process's own environment."""

    def __init__(self, values: Mapping[str, str]) -> None:
        super().__init__(Config, case_sensitive=False)
        self.env_vars = {name: EnvironmentText(value) for name, value in values.items()}

    def decode_complex_value(self, field_name: str, field: FieldInfo, value: Any) -> Any:
        """Lists and tables are JSON; whatever else is there is told later that it is neither."""
        try:
            decoded = super().decode_complex_value(field_name, field, value)
            json.dumps(decoded, ensure_ascii=False).encode()  # half a character is no text that a lamp could be sent
        except (ValueError, RecursionError):
            return value
        return decoded if isinstance(decoded, dict | list) else value


def environment(environ: Mapping[str, str], file: Mapping[str, Any]) -> Variables:
    """The variables that bear leerie's prefix. `file`: the config file's tables."""
    names = [name for name in environ if name.upper().startswith(PREFIX) and name.upper() not in BESIDE_CONFIG]
    return Variables({name: name for name in names}, {name: environ[name] for name in names}, file)


def secrets(folder: str | None, file: Mapping[str, Any]) -> tuple[Variables, list[Problem]]:
    """Each secret that bears leerie's prefix, white space around it removed; other files of the folder are not ours."""
    places: dict[str, str] = {}
    values: dict[str, str] = {}
    problems: list[Problem] = []
    try:
        files = sorted(FilePath(folder).iterdir()) if folder else []
    except (OSError, ValueError) as error:
        files = []
        problems.append(Problem(SECRETS_DIR, None, "", f"cannot be read: {cause(error)}", "a folder of secrets"))
    for secret in files:
        if secret.name.upper().startswith(PREFIX):
            try:
                values[secret.name] = secret.read_text(encoding="utf-8").strip()
                places[secret.name] = str(secret)
            except (OSError, ValueError) as error:
                problems.append(Problem(str(secret), None, "", f"cannot be read: {cause(error)}", "UTF-8 text"))
    return Variables(places, values, file, secret=True), problems


def cause(error: OSError | ValueError) -> str:
    """Why a file could not be read, without its name and without what stands in it."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    return "it is not UTF-8" if isinstance(error, UnicodeDecodeError) else "its name is no file name"


def merged(*tables: Mapping[str, Any]) -> dict[str, Any]:
    """Tables laid over each other, the later one on top."""
    result: dict[str, Any] = {}
    for table in tables:
        for key, value in table.items():
            below = result.get(key)
            result[key] = merged(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return result


def reaches(table: Any, path: Path) -> bool:
    """Whether the table holds that key."""
    for part in path:
        try:
            table = table[part]
        except (LookupError, TypeError):
            return False
    return True


def _nearest_variable(name: str) -> str | None:
    paths = [*((section,) for section in Config.model_fields), *leaf_keys(Config)]
    known = [*(name.removeprefix(PREFIX) for name in BESIDE_CONFIG), *("__".join(path).upper() for path in paths)]
    close = nearest(name.upper().removeprefix(PREFIX), known)
    return close and PREFIX + close
