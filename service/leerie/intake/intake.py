"""The way in: each message goes to the readers of its topic."""

from collections.abc import Iterator

from leerie.config.building import Building
from leerie.intake import feeds, sensors, wishes
from leerie.intake.inputs import Input
from leerie.intake.reader import Reader
from leerie.intake.refusal import line, quoted
from leerie.messages import Message
from leerie.notes import Refused


class Intake:
    """Which topics the building wants, and what their messages mean. Compiled once; keeps no state."""

    def __init__(self, building: Building) -> None:
        readers: dict[str, tuple[Reader, ...]] = {}
        for reader in _readers(building):
            readers[reader.topic] = (*readers.get(reader.topic, ()), reader)
        self._readers = readers

    def filters(self) -> tuple[str, ...]:
        """The topics it wants, each once, in a fixed order, none with a wildcard."""
        return tuple(self._readers)

    def take(self, message: Message) -> tuple[Input | Refused, ...]:
        """What the message says, one result for each reader of its topic to whom it says anything. Never raises."""
        readers = self._readers.get(message.topic)
        if readers is None:
            return (Refused("unknown", "unknown_topic", line(f"nobody reads topic {quoted(message.topic)}")),)
        results = (reader.take(message) for reader in readers)
        return tuple(result for result in results if result is not None)


def _readers(building: Building) -> Iterator[Reader]:
    """All readers, in config order: sensors, feeds, rooms with their meters."""
    for sensor in building.sensors.values():
        rooms = tuple(room.name for room in building.rooms.values() if sensor.name in room.sensors)
        yield Reader(sensor.topic, sensor.name, rooms, sensors.sensor(sensor))
        if sensor.online is not None:
            yield Reader(sensor.online.topic, sensor.name, rooms, sensors.online(sensor.name, sensor.online))
        if sensor.battery is not None:
            yield Reader(sensor.battery.topic, sensor.name, rooms, sensors.battery(sensor.name, sensor.battery))
    if building.daylight.cloud is not None:
        yield Reader(building.daylight.cloud.topic, "cloud", (), feeds.feed("cloud", building.daylight.cloud))
    if building.daylight.outdoor is not None:
        yield Reader(building.daylight.outdoor.topic, "outdoor", (), feeds.feed("outdoor", building.daylight.outdoor))
    for room, known in building.rooms.items():
        if known.meter is not None:
            yield Reader(known.meter.topic, "meter", (room,), feeds.meter(room, known.meter.pointer))
        root = f"{building.broker.topics}/room/{room}"
        yield Reader(f"{root}/hold", f"{room}/hold", (room,), wishes.hold(room))
        yield Reader(f"{root}/ask", f"{room}/ask", (room,), wishes.ask(room))
        yield Reader(f"{root}/bias", f"{room}/bias", (room,), wishes.bias(room))
