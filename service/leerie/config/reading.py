"""Read, lay over each other, validate, check, compile; and where something is wrong, tell all of it at once."""

import re
import tomllib
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Iterable, Iterator, Mapping
from errno import EFBIG, EINVAL
from pathlib import Path as FilePath
from stat import S_ISDIR, S_ISREG
from typing import Any

import msgspec
from pydantic import ValidationError

from leerie.config import checks, sources, wording
from leerie.config.building import Building
from leerie.config.compile import compiled
from leerie.config.declared import declared, sound
from leerie.config.models import Config
from leerie.config.problems import ConfigError, Flaw, Path, Problem, dotted, nearest
from leerie.config.sources import Variables

MOST_BYTES = 10_000_000
"""No house takes so much to describe; a file of this length is another."""


class Sources(msgspec.Struct, frozen=True):
    """A config's sources, as read: enough to say where each key stands."""

    file: str
    text: bytes
    table: dict[str, Any]
    variables: tuple[Variables, ...]
    """The strongest first."""

    def __repr__(self) -> str:
        return f"Sources({self.file})"

    def located(self, flaws: Iterable[Flaw]) -> list[Problem]:
        """Each flaw with its file and line, in the file's order; the environment last."""
        flaws = tuple(dict.fromkeys(flaws))
        if not flaws:
            return []
        from leerie.config.lines import Lines  # noqa: PLC0415 - a grammar that only a mistake needs

        lines = Lines(self.text)
        problems = []
        for flaw in flaws:
            variables = self._variables(flaw.path)
            file, line = (variables.place(flaw.path), None) if variables else (self.file, lines.of(flaw.path))
            hidden = variables is not None and variables.secret
            problem = "what it holds is not allowed" if hidden else flaw.problem
            nearest_name = None if hidden else flaw.nearest
            problems.append(Problem(file, line, dotted(flaw.path), problem, flaw.allowed, nearest_name))
        return sorted(problems, key=lambda problem: (problem.line is None, problem.line or 0, problem.key))

    def _variables(self, path: Path) -> Variables | None:
        """The environment or the secrets, if they give the key or else the table that it is missing in."""
        if found := next((variables for variables in self.variables if variables.holds(path)), None):
            return found
        if sources.reaches(self.table, path[:-1]):
            return None
        return next((variables for variables in self.variables if variables.holds(path[:-1])), None)


def read(path: FilePath, environ: Mapping[str, str]) -> tuple[Building, Config, Sources]:
    """The building that a config file, the secrets and the environment describe together. Raises ConfigError."""
    try:
        return _read(path, _text(path), environ)
    except RecursionError:
        problem = "nested too deep, it or a variable"
        raise ConfigError([Problem(str(path), None, "", problem, "lists and tables a few levels deep")]) from None


def _read(path: FilePath, text: bytes, environ: Mapping[str, str]) -> tuple[Building, Config, Sources]:
    table = _table(str(path), text)
    secrets, problems = sources.secrets(environ.get(sources.SECRETS_DIR), table)
    environment = sources.environment(environ, table)
    found = Sources(str(path), text, table, (environment, secrets))
    for variables in found.variables:
        problems += variables.strays.values()
    data = sources.merged(table, secrets.table, environment.table)
    config, flaws = _checked(data)
    if config is not None:
        password, more = _files(config, path.parent)
        flaws += more
    if problems or flaws or config is None:
        raise ConfigError([*(found.located(flaws) if flaws else []), *problems])
    return compiled(config, password, path.parent), config, found


def _text(path: FilePath) -> bytes:
    try:
        return _contents(path).removeprefix(BOM_UTF8)
    except (OSError, ValueError) as error:
        allowed = "a TOML file; --config or LEERIE_CONFIG names another"
        raise ConfigError([Problem(str(path), None, "", f"cannot be read: {sources.cause(error)}", allowed)]) from None


def _contents(path: FilePath) -> bytes:
    """Raises OSError, ere it waits for a pipe or reads a device on and on; ValueError for what no path can be."""
    status = path.stat()
    if not (S_ISREG(status.st_mode) or S_ISDIR(status.st_mode)):
        raise OSError(EINVAL, "it is a device, a pipe or a socket")
    if status.st_size > MOST_BYTES:
        raise OSError(EFBIG, f"it is longer than {MOST_BYTES // 1_000_000} megabytes")
    return path.read_bytes()


# ---- TOML ------------------------------------------------------------------------------------------------------------


def _table(file: str, text: bytes) -> dict[str, Any]:
    if b"\0" in text:
        found = (
            "is UTF-16 text" if text.startswith((BOM_UTF16_LE, BOM_UTF16_BE)) else "holds NUL bytes, as no text does"
        )
        raise ConfigError([Problem(file, None, "", found, "a TOML file in UTF-8")])
    try:
        return tomllib.loads(text.decode())
    except UnicodeDecodeError as error:
        line = text.count(b"\n", 0, error.start) + 1
        problem = Problem(file, line, "", f"byte 0x{text[error.start]:02x} is not UTF-8", "a TOML file in UTF-8")
    except tomllib.TOMLDecodeError as error:
        twice = _twice(file, text) if str(error).startswith("Cannot") else None
        problem = twice or _syntax(file, text, str(error))
    except ValueError:
        problem = Problem(file, None, "", "holds a number of too many digits", "numbers of a few digits")
    raise ConfigError([problem]) from None


def _syntax(file: str, text: bytes, error: str) -> Problem:
    what, _, place = error.rpartition(" (at ")
    match = re.search(r"line ([0-9]+)", place)
    line = int(match[1]) if match else len(text.rstrip().splitlines())
    return Problem(file, max(line, 1), "", f"is no TOML: {what[:1].lower()}{what[1:]}", "TOML 1.0 (toml.io)")


def _twice(file: str, text: bytes) -> Problem | None:
    """The key that stands twice, if that is what is wrong."""
    from leerie.config.lines import Lines  # noqa: PLC0415 - as above

    twice = Lines(text).twice
    if not twice:
        return None
    path, first, second = twice[0]
    return Problem(file, second, dotted(path), f"stands twice, first in line {first}", "each key and table once")


# ---- checks ----------------------------------------------------------------------------------------------------------


def _checked(data: dict[str, Any]) -> tuple[Config | None, list[Flaw]]:
    """The config, if each key for itself is right; and everything that is wrong."""
    unknown = [key for key in data if key not in Config.model_fields]
    allowed = f"known here: {', '.join(Config.model_fields)}"
    flaws = [Flaw((key,), "unknown key", allowed, nearest(key, Config.model_fields)) for key in unknown]
    known = {key: value for key, value in data.items() if key in Config.model_fields}
    try:
        config = Config(**known)
    except ValidationError as error:
        flaws += wording.flaws(error, known)
        remains = sound(known, [flaw.path for flaw in flaws])
        try:
            flaws += checks.flaws(Config(**remains), declared(data))
        except ValidationError:  # pragma: no cover - what is broken was left out
            return None, flaws
        return None, flaws
    return config, [*flaws, *checks.flaws(config, declared(data))]


def _files(config: Config, folder: FilePath) -> tuple[str | None, list[Flaw]]:
    """The broker's password, and what is wrong with the files that the config names. They stand beside the config."""
    broker = config.broker
    flaws = list(_tls_files(config, folder))
    if broker.password_file is None:
        return broker.password.get_secret_value() if broker.password else None, flaws
    try:
        return _contents(folder / broker.password_file).decode().rstrip("\r\n"), flaws
    except (OSError, ValueError) as error:
        flaws.append(
            Flaw(("broker", "password_file"), f"cannot be read: {sources.cause(error)}", "a file of UTF-8 text")
        )
        return None, flaws


def _tls_files(config: Config, folder: FilePath) -> Iterator[Flaw]:
    tls = config.broker.tls
    for key in ("ca", "certificate", "key") if tls else ():
        name = getattr(tls, key)
        if name is not None and not (folder / name).is_file():
            yield Flaw(
                ("broker", "tls", key), "there is no such file", "a file; its name is relative to the config's folder"
            )
