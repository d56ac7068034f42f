"""A link in a test: its loop turned by hand, and what it says kept."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from brokers import WITHIN_S
from leerie.config.running import Broker
from leerie.runtime.events import Arrived, Event, Linked, Settled
from leerie.runtime.link import Link
from leerie.runtime.wake import Wake

FAREWELL = b'{"running": false}'


class Driver:
    """Turns a link's loop and keeps what it said."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.events: list[Event] = []

    def until(self, wanted: Callable[[Event], bool] | type) -> Event:
        """Turn until such an event comes, and return it."""
        matches = (lambda event: isinstance(event, wanted)) if isinstance(wanted, type) else wanted
        end_s = time.monotonic() + WITHIN_S
        while time.monotonic() < end_s:
            for event in self.link.step(0.2):
                self.events.append(event)
                if isinstance(event, Arrived):
                    self.link.acknowledge(event.receipt)
                if matches(event):
                    return event
        raise AssertionError(f"it did not happen; what happened: {self.events}")

    def settle(self, *filters: str) -> Settled:
        """Connect and settle, with no records to fetch."""
        self.until(Linked)
        self.link.follow(filters)
        settled = self.until(Settled)
        assert isinstance(settled, Settled)
        return settled

    def turn(self, wanted: Callable[[], bool]) -> None:
        """Turn until that is so."""
        end_s = time.monotonic() + WITHIN_S
        while not wanted():
            assert time.monotonic() < end_s, f"it did not come about; what happened: {self.events}"
            self.link.flush(0)
            self.events.extend(self.link.step(0.05))


@contextmanager
def linked(broker: Broker, displaces: Callable[[bytes], bool] = lambda _: False) -> Iterator[Driver]:
    wake = Wake()
    link = Link(broker, wake, instance="test", farewell=FAREWELL, displaces=displaces)
    try:
        yield Driver(link)
    finally:
        link.close()
        wake.close()
