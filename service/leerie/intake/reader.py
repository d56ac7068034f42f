"""One reader of one topic: what a message means to it, or why it is refused."""

from collections.abc import Callable
from typing import TypeAlias

import msgspec

from leerie.intake.inputs import Input
from leerie.intake.refusal import Refusal, line
from leerie.messages import Message
from leerie.notes import Refused

Meaning: TypeAlias = Callable[[Message], Input | None]
"""Makes an input of a message, or None where it says nothing. Raises Refusal."""


class Reader(msgspec.Struct, frozen=True):
    topic: str
    source: str
    """The sensor's or feed's key; for a wish the room's and which wish, such as `hall/hold`."""
    rooms: tuple[str, ...]
    """Whom a refusal concerns."""
    meaning: Meaning

    def take(self, message: Message) -> Input | Refused | None:
        try:
            return self.meaning(message)
        except Refusal as refusal:
            return Refused(self.source, refusal.reason, line(f"{self.source}: {refusal.text}"), self.rooms)


def is_event(message: Message) -> bool:
    """Whether there is an event to read. Raises Refusal for a retained one, saying how to clear it.

    It is cleared by an empty retained message, which reaches the subscribers of the moment as an empty live one
    (MQTT 3.1.1, 3.3.1.3): that says nothing, and who did as they were told is not told off for it.
    """
    if not message.payload:
        return False
    if message.retained:
        raise Refusal(
            "retained_event",
            f"a retained message is no event; to clear it, publish an empty retained message to {message.topic}",
        )
    return True
