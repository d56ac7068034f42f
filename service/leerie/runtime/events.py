"""What the link has to tell the daemon."""

from collections.abc import Mapping
from typing import TypeAlias

import msgspec

from leerie.messages import Message


class Linked(msgspec.Struct, frozen=True):
    """A connection stands."""

    version: str


class Recalled(msgspec.Struct, frozen=True):
    """Every record that the broker kept has arrived."""

    records: Mapping[str, bytes]
    """By topic."""
    unserved: tuple[str, ...]


class Arrived(msgspec.Struct, frozen=True):
    message: Message
    receipt: int
    heard: float
    """time.perf_counter()"""


class Settled(msgspec.Struct, frozen=True):
    """Every value that the broker kept has arrived."""

    unserved: tuple[str, ...]


class Acknowledged(msgspec.Struct, frozen=True):
    ticket: int
    ok: bool


class Denied(msgspec.Struct, frozen=True):
    """The broker refused one of our own retained topics."""

    topic: str


class Unreachable(msgspec.Struct, frozen=True):
    """No connection came about; said once for each new reason."""

    why: str


class Lost(msgspec.Struct, frozen=True):
    why: str


class Displaced(msgspec.Struct, frozen=True):
    """We were thrown off, and a newer daemon stands in our place."""

    card: bytes
    """What it publishes about itself."""


Event: TypeAlias = Linked | Recalled | Arrived | Settled | Acknowledged | Denied | Unreachable | Lost | Displaced
