"""How leerie itself runs: its broker, its folder, its page, its log; a part of the Building (building.py)."""

from typing import Literal

import msgspec


class Tls(msgspec.Struct, frozen=True):
    ca: str | None
    """Path; None: the system's own."""
    certificate: str | None
    key: str | None


class Broker(msgspec.Struct, frozen=True):
    host: str
    port: int
    protocol: Literal["auto", "5", "3.1.1"]
    client_id: str
    username: str | None
    password: str | None
    """Never shown; whoever prints a Broker leaves it out."""
    tls: Tls | None
    topics: str
    """Root of leerie's own topics."""
    keepalive_s: int

    def __repr__(self) -> str:
        return f"Broker({self.host}:{self.port})"

    def __rich_repr__(self) -> list[tuple[str, object]]:
        return [("host", self.host), ("port", self.port)]


class Journal(msgspec.Struct, frozen=True):
    """How much of what was heard is kept."""

    days: int
    """0: nothing."""
    most_bytes: int


class Service(msgspec.Struct, frozen=True):
    state_dir: str | None
    journal: Journal
    """Is in `state_dir`."""
    metrics: tuple[str, int] | None
    """Host and port of the scrape page, or None for none."""
    refresh_ms: int
    drift_ms: int
    log: Literal["console", "json"] | None
    """None: console on a terminal, JSON elsewhere."""
    trust_clock_after_ms: int
    """After the machine's start; before that the wall clock is known to be right only if the kernel says so."""
