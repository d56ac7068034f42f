"""What the world is told of rooms, sky and the daemon itself, and what is written down of rooms."""

from collections.abc import Iterable
from functools import partial
from zoneinfo import ZoneInfo

from leerie import report
from leerie.controller import Controller
from leerie.now import SECOND_MS
from leerie.runtime.instance import FAREWELL, Instance
from leerie.runtime.keeper import Keeper
from leerie.runtime.link import Link
from leerie.runtime.metrics import Metrics
from leerie.views import RoomView, SkyView

STATE_GAP_MS = 210
"""A room's state goes out at most five times a second, the newest last; a little less often, since the way there takes
now more, now less time."""


class Herald:
    """Says on leerie's own topics what there is to be said. All of it is retained."""

    def __init__(self, link: Link, keeper: Keeper, metrics: Metrics, root: str) -> None:
        """`root`: the first level of leerie's own topics."""
        self._link = link
        self._keeper = keeper
        self._metrics = metrics
        self._root = root

    def topic(self, *levels: str) -> str:
        return "/".join((self._root, *levels))

    def remember(self, controller: Controller, rooms: Iterable[str]) -> None:
        """Write the rooms' records down, in the folder and with the broker."""
        bodies = {room: controller.memory(room) for room in rooms}
        self._keeper.keep(bodies)
        for room, body in bodies.items():
            self._link.retain(self.topic("memory", room), partial(bytes, body))

    def show(self, rooms: Iterable[RoomView], sky: SkyView | None, zone: ZoneInfo) -> None:
        """Rooms and sky look like this now."""
        self._metrics.show(rooms, sky)
        for view in rooms:
            words = partial(report.room_state, view, zone)
            self._link.retain(self.topic("room", view.room, "state"), words, STATE_GAP_MS)
        if sky is not None:
            self._link.retain(self.topic("sky"), partial(report.sky, sky, zone))

    def forget(self, room: str) -> None:
        """The room is no more: nothing is kept of it."""
        self._keeper.forget(room)
        for topic in (self.topic("memory", room), self.topic("room", room, "state")):
            self._link.retain(topic, bytes)

    def card(self, instance: Instance, wall: int) -> None:
        self._link.retain(self.topic("service"), lambda: instance.card(wall), SECOND_MS)

    def farewell(self) -> None:
        self._link.retain(self.topic("service"), lambda: FAREWELL)
