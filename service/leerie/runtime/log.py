"""The daemon's log: one wide line a decision, for people or for machines.

What comes from outside reaches a line only as a value without control characters: it can forge no second line.
No secret gets through.
"""

import logging
import sys
from collections.abc import Sequence
from typing import Any, Literal, TextIO

import structlog
from structlog.typing import EventDict, FilteringBoundLogger, Processor, WrappedLogger

from leerie.config.problems import printable

HIDDEN = "(hidden)"
LONGEST = 2_000
"""Characters of one value; the rest is cut."""


def make(
    form: Literal["console", "json"] | None, secrets: Sequence[str] = (), stream: TextIO | None = None
) -> FilteringBoundLogger:
    """A logger. `form` None: console on a terminal, JSON elsewhere; `secrets`: what no line may hold."""
    stream = stream or sys.stderr
    people = form == "console" or (form is None and stream.isatty())
    render: Processor = (
        structlog.dev.ConsoleRenderer(colors=stream.isatty())
        if people
        else structlog.processors.JSONRenderer(ensure_ascii=False)
    )
    logger: FilteringBoundLogger = structlog.wrap_logger(
        structlog.PrintLogger(stream),
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=not people),
            Scrubber(secrets),
            render,
        ],
    )
    return logger


class Scrubber:
    """Makes every text of a line harmless."""

    def __init__(self, secrets: Sequence[str]) -> None:
        # The longest first: a secret may hold another.
        self._secrets = sorted((secret for secret in secrets if secret), key=len, reverse=True)

    def __call__(self, _logger: WrappedLogger, _method: str, line: EventDict) -> EventDict:
        # The line's own name and its fields' names are ours, whatever word somebody took for a password.
        head = {name: line.pop(name) for name in ("timestamp", "level", "event")}
        return {**head, **{name: self._clean(value) for name, value in line.items()}}

    def _clean(self, value: Any) -> Any:
        if isinstance(value, str):
            return self._text(value)
        if isinstance(value, list | tuple):
            return [self._clean(item) for item in value]
        if isinstance(value, dict):
            return {self._clean(name): self._clean(item) for name, item in value.items()}
        return value if isinstance(value, bool | int | float | None) else self._text(str(value))

    def _text(self, text: str) -> str:
        for secret in self._secrets:
            text = text.replace(secret, HIDDEN)
        if len(text) > LONGEST:
            text = text[:LONGEST] + "…"
        return printable(text)
