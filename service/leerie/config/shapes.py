"""What the models allow at a place in the config, read off their annotations. Used only to word an error."""

from collections.abc import Iterator
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel

from leerie.config.problems import Path, shown
from leerie.config.values import Allowed

_PLAIN = {bool: "true or false", int: "a whole number", float: "a number", str: "text"}


def at(model: type[BaseModel], path: Path) -> Any:
    """The annotation of the key at that path; None where the models know no such key."""
    found: Any = model
    for part in path:
        found = next((inner for option in _options(found) if (inner := _inside(option, part)) is not None), None)
    return found


def keys(annotation: Any) -> tuple[str, ...]:
    """The keys of the table that the annotation stands for; none if it stands for no table with fixed keys."""
    return tuple(
        key
        for option in _options(annotation)
        if isinstance(option, type) and issubclass(option, BaseModel)
        for key in option.model_fields
    )


def choices(annotation: Any) -> tuple[str, ...]:
    """The words that it may be, if it is one of some words."""
    return tuple(
        word
        for option in _options(annotation)
        if get_origin(option) is Literal
        for word in get_args(option)
        if isinstance(word, str)
    )


def allowed(annotation: Any) -> str:
    """In words, what may stand there."""
    if get_origin(annotation) is Annotated:
        inner, *metadata = get_args(annotation)
        said = [item.words for item in metadata if isinstance(item, Allowed)]
        return said[-1] if said else allowed(inner)
    if get_origin(annotation) in (Union, UnionType):
        return " or ".join(dict.fromkeys(allowed(option) for option in get_args(annotation) if option is not NoneType))
    if get_origin(annotation) is Literal:
        return ", ".join(shown(word) for word in get_args(annotation))
    if get_origin(annotation) is list:
        return "a list"
    if names := keys(annotation):
        return f"a table with {', '.join(names)}"
    return _PLAIN.get(annotation, "a table")


def leaf_keys(model: type[BaseModel], before: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The paths of all keys that hold no further table."""
    for key, annotation in get_type_hints(model).items():
        if key in model.model_fields:
            inner = [
                option for option in _options(annotation) if isinstance(option, type) and issubclass(option, BaseModel)
            ]
            for table in inner:
                yield from leaf_keys(table, (*before, key))
            if not inner:
                yield (*before, key)


def _options(annotation: Any) -> Iterator[Any]:
    """The members of a union, bare of their metadata; the annotation itself if it is none."""
    if get_origin(annotation) is Annotated:
        yield from _options(get_args(annotation)[0])
    elif get_origin(annotation) in (Union, UnionType):
        for option in get_args(annotation):
            yield from _options(option)
    elif annotation is not None:
        yield annotation


def _inside(annotation: Any, part: str | int) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return (
            get_type_hints(annotation, include_extras=True).get(str(part)) if part in annotation.model_fields else None
        )
    if get_origin(annotation) is dict and isinstance(part, str):
        return get_args(annotation)[1]
    return get_args(annotation)[0] if get_origin(annotation) is list else None
