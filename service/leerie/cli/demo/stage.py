"""The building around the daemon, on a real broker: sensors speak, lamps listen, somebody watches."""

import json
import math
import queue
import socket
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from leerie.config.building import Building
from leerie.rehearsal.lamps import Glow, Lamp
from leerie.rehearsal.world import HOUR_US, Reading, World
from leerie.runtime.clock import Clock

LONGEST_WAIT_S = 0.1
"""Real seconds after which to look whether it is all over."""
REMEMBERED = 50
KNOCKS_S = 0.1
"""So soon after a failure the sensors try to reach the broker again; at ×720 a second is twelve minutes."""


class Happened(NamedTuple):
    """Something a person at the keys did, or what came of it."""

    at: int
    """Wall clock of the building, µs UTC."""
    text: str


class Stage:
    """Plays one building until told to stop. What it shows (rooms, sky, lamps) may be read from another thread."""

    heard: Callable[[str], None] | None = None
    """Called with a room's name when its state has come."""

    def __init__(self, building: Building, clock: Clock, seed: int) -> None:
        self.building = building
        self.speed = clock.speed
        self.rooms: dict[str, Mapping[str, Any]] = {}
        self.sky: Mapping[str, Any] = {}
        self.chosen = next(iter(building.rooms))
        """The room that the keys act on."""
        self.broker_up = self.daemon_up = True
        self.overcast = False
        """Somebody has drawn a cloud over."""
        self.happened: deque[Happened] = deque(maxlen=REMEMBERED)
        self.page: str | None = None
        """Where a browser finds the daemon's own page."""
        self._clock = clock
        self._world = World(building, seed)
        self._lamps = {name: Lamp(fixture) for name, fixture in building.fixtures.items()}
        self._begun = clock.now().wall
        self._told = self._puzzles = 0
        self._inbox: queue.SimpleQueue[MQTTMessage] = queue.SimpleQueue()
        self._topics = building.broker.topics
        self._hour = -1
        self._stays = self._world.stays(0, 0)
        self._arrived = threading.Event()
        """On a broker that has not yet heard what the sensors last said."""
        self._client = self._make_client()

    @property
    def invitation(self) -> str:
        """How one looks on with a client of one's own."""
        return f"mosquitto_sub -p {self.building.broker.port} -v -t '{self._topics}/#'"

    def wall(self) -> int:
        return self._clock.now().wall

    def glow(self, fixture: str) -> Glow:
        return self._lamps[fixture].glow()

    def people_in(self, room: str) -> int:
        at = self.wall()
        if at // HOUR_US != self._hour:
            self._hour = at // HOUR_US
            self._stays = self._world.stays(self._hour * HOUR_US, (self._hour + 1) * HOUR_US)
        return sum(stay.room == room and stay.start <= at < stay.end for stay in self._stays)

    def summary(self) -> str:
        """What there was, in one line."""
        hours = (self.wall() - self._begun) / HOUR_US
        missed = f", {self._puzzles} of them not understood" if self._puzzles else ", every one understood"
        told = f"{self._told} messages to {len(self._lamps)} lamps{missed}"
        return f"{hours:.1f} hours of {self.building.site.name}: {told}."

    def play(self, over: Callable[[], bool], lasts_ms: int | None) -> None:
        """Connect, and let sensors speak at their times and lamps listen, until it is over or lasted so long."""
        end = math.inf if lasts_ms is None else self._begun + lasts_ms * 1_000 * self.speed
        self._client.connect(self.building.broker.host, self.building.broker.port)
        self._client.loop_start()
        try:
            for reading in self._readings(self._begun):
                while (now := self.wall()) < min(reading.at, end) and not over():
                    self._greet(now)
                    self._listen(min(LONGEST_WAIT_S, self._clock.real_s(reading.at - now) / 1_000))
                if now >= end or over():
                    return
                self._say(reading)
        finally:
            self._client.disconnect()
            self._client.loop_stop()

    # ---- what somebody at the keys does ------------------------------------------------------------------------------

    def tell(self, text: str) -> None:
        """Something has happened."""
        self.happened.append(Happened(self.wall(), text))

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Say something; without a connection it is lost, as it is with most sensors."""
        if self._client.is_connected():
            self._client.publish(topic, payload, qos=1, retain=retain)

    def draw_cloud(self, *, over: bool) -> None:
        """From now on the sky is overcast, whatever the weather; or as it was."""
        self.overcast = over
        for reading in self._world.weather(self.wall(), overcast=over):
            self._say(reading)

    # ---- the house speaks --------------------------------------------------------------------------------------------

    def _readings(self, start: int) -> Iterator[Reading]:
        """Without end, an hour at a time."""
        while True:
            end = start - start % HOUR_US + HOUR_US
            yield from self._world.readings(start, end)
            start = end

    def _greet(self, at: int) -> None:
        """On a broker that is new to them, sensors say what they last said."""
        if self._arrived.is_set():
            self._arrived.clear()
            for reading in self._world.standing(at):
                self._say(reading)

    def _say(self, reading: Reading) -> None:
        if self.overcast:
            clouded = {other.topic: other for other in self._world.weather(reading.at, overcast=True)}
            reading = clouded.get(reading.topic, reading)
        self.publish(reading.topic, reading.payload, retain=reading.retain)

    def _make_client(self) -> Client:
        client = Client(CallbackAPIVersion.VERSION2, client_id=f"{self.building.broker.client_id}-demo")
        topics = [topic for lamp in self._lamps.values() for topic in lamp.topics]
        wanted = [*dict.fromkeys(topics), f"{self._topics}/room/+/state", f"{self._topics}/sky"]

        def begin(*_: object) -> None:
            client.subscribe([(topic, 1) for topic in wanted])
            self._arrived.set()

        client.on_socket_open = _at_once
        client.on_connect = begin
        client.on_message = lambda _c, _u, message: self._inbox.put(message)
        client.reconnect_delay_set(KNOCKS_S, KNOCKS_S)  # type: ignore[arg-type]  # it waits for any number of seconds
        return client

    def _listen(self, seconds: float) -> None:
        """Take what comes within that time."""
        try:
            message = self._inbox.get(timeout=seconds)
        except queue.Empty:
            return
        self.take(message.topic, bytes(message.payload))

    def take(self, topic: str, payload: bytes) -> None:
        """A message has come: for a lamp, or for who watches."""
        if topic == f"{self._topics}/sky":
            self.sky = json.loads(payload)
        elif topic.startswith(f"{self._topics}/room/"):
            room = topic.removeprefix(f"{self._topics}/room/").removesuffix("/state")
            self.rooms[room] = json.loads(payload)
            if self.heard is not None:
                self.heard(room)
        for lamp in self._lamps.values():
            if topic in lamp.topics:
                self._told += 1
                self._puzzles += not lamp.hear(topic, payload)


def _at_once(_client: Client, _userdata: object, sock: Any) -> None:
    """Nagle's algorithm would hold a sensor's word back for 40 ms, at ×300 a whole twelve seconds."""
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
