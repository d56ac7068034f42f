"""From the errors of pydantic to flaws: where, what was found, what is allowed."""

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from leerie.config import shapes
from leerie.config.models import Config
from leerie.config.problems import Flaw, NotAllowedError, Path, nearest, shown
from leerie.config.values import QUOTED

SECRETIVE = "broker"
"""The table with the password: what stands in its place, or in the password's, is never shown."""


def flaws(error: ValidationError, data: Mapping[str, Any]) -> Iterator[Flaw]:
    """One flaw an error, in the order of the models. `data` is what was validated."""
    for detail in error.errors(include_url=False):
        yield _flaw(detail, _written(detail, data))


def _flaw(detail: ErrorDetails, path: Path) -> Flaw:
    cause = detail.get("ctx", {}).get("error")
    if isinstance(cause, NotAllowedError):
        return Flaw(path, cause.problem, cause.allowed, cause.nearest)
    if detail["type"] == "extra_forbidden":
        known = shapes.keys(shapes.at(Config, path[:-1]))
        return Flaw(path, "unknown key", f"known here: {', '.join(known)}", nearest(path[-1], known))
    annotation = shapes.at(Config, path)
    allowed = shapes.allowed(annotation)
    if detail["type"] == "missing":
        return Flaw(path, "is missing", allowed)
    value = detail["input"]
    if _secret(path) and not isinstance(value, dict | list):
        return Flaw(path, "is no table", allowed) if path == (SECRETIVE,) else Flaw(path, "is no text", QUOTED)
    found = shown(value)
    return Flaw(path, f"{found} is not allowed", allowed, nearest(value, shapes.choices(annotation)))


def _secret(path: Path) -> bool:
    return path == (SECRETIVE,) or path[:2] == (SECRETIVE, "password")


def _written(detail: ErrorDetails, data: Mapping[str, Any]) -> Path:
    """The error's path as it is written: without the tags of shapes, and no deeper than what the file spells out."""
    path: Path = ()
    value: Any = data
    for part in detail["loc"]:
        if isinstance(part, str) and (part.startswith("|") or part == "[key]"):
            continue
        if not isinstance(value, dict | list):
            break
        path += (part,)
        try:
            value = value[part]  # type: ignore[index] # pydantic's path fits the data it read
        except (LookupError, TypeError):
            break
    return path
