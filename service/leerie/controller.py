"""The walk itself (under construction: the seam)."""

from collections.abc import Mapping

from leerie.config.building import Building
from leerie.messages import Message, Outcome
from leerie.now import Now


class Controller:
    """Sans-I/O: messages, link news and time go in; an Outcome comes out."""

    def __init__(self, building: Building, memory: Mapping[str, bytes], boot: str) -> None:
        """`memory`: each room's record as last written, or none; `boot`: names this run of the steady clock."""
        raise NotImplementedError

    def filters(self) -> tuple[str, ...]:
        """Topic filters it wants, in a fixed order."""
        raise NotImplementedError

    def linked(self, now: Now) -> None:
        """A connection stands; nothing is sent yet."""

    def settled(self, now: Now) -> Outcome:
        """What the broker kept has arrived: first decisions, in one go; every room's state and record goes out."""
        raise NotImplementedError

    def lost(self, now: Now) -> None:
        """The connection is gone."""

    def receive(self, message: Message, now: Now) -> Outcome:
        raise NotImplementedError

    def advance(self, now: Now) -> Outcome:
        """Time has passed."""
        raise NotImplementedError

    def acknowledged(self, ticket: int, ok: bool, now: Now) -> None:
        """The broker took or refused a publish; look at due() again."""

    def due(self) -> int | None:
        """Steady millisecond at which advance() is next needed."""
        raise NotImplementedError

    def memory(self, room: str) -> bytes:
        """One room's record, as last named in an Outcome."""
        raise NotImplementedError

    def farewell(self, now: Now) -> Outcome:
        """A clean stop: escape routes get their lit scene, nothing else is sent."""
        raise NotImplementedError
