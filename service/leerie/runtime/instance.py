"""What this daemon says about itself, and whether another one has come to take its place."""

import uuid
from datetime import datetime
from zoneinfo import ZoneInfo

import msgspec

from leerie import __version__

SILENT_S = 150
"""A daemon renews its card each minute; after two and a half it does so no more."""
FAREWELL = b'{"running": false}'


class _Card(msgspec.Struct):
    running: bool
    since: datetime | None = None
    seen: datetime | None = None
    instance: str = ""


class Instance:
    """One run of the daemon."""

    def __init__(self, since: int, zone: ZoneInfo) -> None:
        """`since`: µs UTC at which it began."""
        self.name = uuid.uuid4().hex
        self._zone = zone
        self._since = self._rfc3339(since)

    def card(self, wall: int) -> bytes:
        """What stands retained on the service's topic while it runs; `wall`: µs UTC now."""
        return msgspec.json.encode(
            {
                "running": True,
                "since": self._since,
                "seen": self._rfc3339(wall),
                "version": __version__,
                "instance": self.name,
            }
        )

    def displaced_by(self, card: bytes) -> bool:
        """Another daemon runs on the same topics and began later; of two of one second the name decides."""
        other = _read(card)
        if other is None or not other.running or other.since is None or other.instance == self.name:
            return False
        return (other.since, other.instance) > (datetime.fromisoformat(self._since), self.name)

    def _rfc3339(self, wall: int) -> str:
        return datetime.fromtimestamp(wall / 1e6, self._zone).isoformat(timespec="seconds")


def says_stopped(card: bytes) -> bool:
    """The card says that nothing runs."""
    other = _read(card)
    return other is not None and not other.running


def ailment(card: bytes, wall: int) -> str | None:
    """What is wrong with the daemon of this card at `wall` (µs UTC); None: nothing."""
    daemon = _read(card)
    if daemon is None or (daemon.running and daemon.seen is None):
        return "what it says about itself is not understood"
    if daemon.seen is None:
        return "it is not running, or the broker has lost it"
    silent_s = wall // 1_000_000 - round(daemon.seen.timestamp())
    return None if abs(silent_s) < SILENT_S else f"it runs but was last seen at {daemon.seen.isoformat()}"


def _read(card: bytes) -> _Card | None:
    try:
        read = msgspec.json.decode(card, type=_Card)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    naive = any(moment is not None and moment.tzinfo is None for moment in (read.since, read.seen))
    return None if naive else read
