"""What a page is made from: the daemon as it stood at one moment."""

from collections.abc import Mapping

import msgspec

from leerie.config.building import Building
from leerie.views import RoomView, SkyView


class Seen(msgspec.Struct, frozen=True):
    """Instants are wall clock, microseconds UTC."""

    at: int
    """The moment."""
    building: Building
    rooms: Mapping[str, RoomView]
    """Those that have been decided on since the start."""
    sky: SkyView | None
    connected: bool
    """The link to the broker stands and has settled."""
    linked: int
    """Since when it does or does not."""
    clock_known: bool | None
    """None: the records, which it is held against, are not read yet."""
    begun: int
    """When the daemon began."""
    read: int
    """When the config was last read and taken over."""
    refused: int | None
    """When a newer one was refused, if it was."""
    unwritten: tuple[str, ...] = ()
    """What of `records` and `journal` does not get to the disk."""
    ailment: str | None = None
    """What keeps the daemon from being alive."""
