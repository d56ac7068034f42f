"""The daemon's log: one wide line a decision, for people or for machines.

What comes from outside reaches a line only as a value without control characters: it can forge no second line.
No secret gets through.
"""

import json
import logging
import math
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from io import StringIO
from typing import Any, Literal, TextIO, cast
from urllib.parse import quote, quote_plus

import structlog
from structlog.typing import EventDict, FilteringBoundLogger, Processor, WrappedLogger

from leerie.config.problems import printable
from leerie.runtime.log_events import EVENTS

HIDDEN = "(hidden)"
LONGEST = 2_000
"""Characters of one value; the rest is cut."""
WIDTH = 20
"""Characters kept free for an event's name on the console."""


class Log:
    """Tells the events of log_events.py, each at its level."""

    def __init__(self, logger: FilteringBoundLogger) -> None:
        self._logger = logger

    def tell(self, event: str, **fields: Any) -> None:
        """Write one line. Raises KeyError for an event that the table does not list."""
        getattr(self._logger, EVENTS[event].level)(event, **fields)


def make(form: Literal["console", "json"] | None, secrets: Sequence[str] = (), stream: TextIO | None = None) -> Log:
    """A log. `form` None: console on a terminal, JSON elsewhere; `secrets`: what no line may hold."""
    stream = stream or sys.stderr or StringIO()
    people = form == "console" or (form is None and stream.isatty())
    logger: FilteringBoundLogger = structlog.wrap_logger(
        structlog.PrintLogger(cast("TextIO", Unfailing(stream))),
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="%H:%M:%S" if people else "iso", utc=not people),
            Scrubber(secrets),
            structlog.dev.ConsoleRenderer(WIDTH, colors=stream.isatty()) if people else _json(stream),
        ],
    )
    return Log(logger)


class Unfailing:
    """A stream that takes everything: a full disk or a reader who has gone must not cost the light."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        with suppress(OSError, ValueError):
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        with suppress(OSError, ValueError):
            self._stream.flush()


def _json(stream: TextIO) -> Processor:
    # What a stream cannot write it escapes in its own way, which is not JSON's.
    utf8 = (getattr(stream, "encoding", None) or "utf-8").lower().startswith("utf")
    return structlog.processors.JSONRenderer(ensure_ascii=not utf8, allow_nan=False)


class Scrubber:
    """Makes every text of a line harmless."""

    def __init__(self, secrets: Sequence[str]) -> None:
        spellings = dict.fromkeys(spelling for secret in secrets if secret for spelling in _spellings(secret))
        # The longest first: one may hold another.
        longest_first = sorted(spellings, key=len, reverse=True)
        self._secret = re.compile("|".join(map(re.escape, longest_first))) if longest_first else None

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
            return {self._text(str(name)): self._clean(item) for name, item in value.items()}
        if isinstance(value, float) and not math.isfinite(value):
            return str(value)  # JSON has no such numbers
        return value if isinstance(value, bool | int | float | None) else self._text(str(value))

    def _text(self, text: str) -> str:
        if self._secret is not None:
            text = self._secret.sub(HIDDEN, text)
        safe = printable(text[: LONGEST + 1])
        return safe if len(safe) <= LONGEST else safe[: LONGEST - 1] + "…"


def _spellings(secret: str) -> Iterator[str]:
    """The secret, and how it looks where somebody has quoted, escaped or encoded it."""
    yield secret
    yield printable(secret)
    yield repr(secret)[1:-1]
    yield repr(secret.encode(errors="replace"))[2:-1]
    yield json.dumps(secret)[1:-1]
    yield json.dumps(secret, ensure_ascii=False)[1:-1]
    yield quote(secret, safe="", errors="replace")
    yield quote_plus(secret, errors="replace")
