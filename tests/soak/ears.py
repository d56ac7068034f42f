"""Somebody at the broker who comes back by himself when it was away, speaks, and remembers only what was newest."""

import contextlib
import json
import threading
import time
from collections import Counter
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from .house import Word

LISTEN = (("lamps/#", 1), ("probes/#", 1), ("leerie/room/+/state", 1))


class Ears:
    """Its condition guards all it knows."""

    def __init__(self, port: int) -> None:
        self.news = threading.Condition()
        self.states: dict[str, Any] = {}
        """Each room's newest state."""
        self.told: dict[str, Any] = {}
        """What each lamp was told last."""
        self.heard: Counter[str] = Counter()
        """Messages by the first level of their topics."""
        self.probed: dict[str, float] = {}
        """When each probe's lamp was last told to be lit, by time.monotonic()."""
        self.listening = threading.Event()
        client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311)
        client.max_inflight_messages_set(0)
        client.reconnect_delay_set(0.2, 0.2)  # type: ignore[arg-type] # any number of seconds will do
        client.on_connect = lambda *_: client.subscribe(list(LISTEN))
        client.on_subscribe = lambda *_: self.listening.set()
        client.on_disconnect = lambda *_: self.listening.clear()
        client.on_message = self._on_message
        client.connect("127.0.0.1", port)
        client.loop_start()
        self._client = client

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        sock = self._client.socket()
        if sock is not None:  # paho's thread may end before it has closed it
            with contextlib.suppress(OSError):
                sock.close()

    def say(self, word: Word, qos: int = 1) -> None:
        self._client.publish(word.topic, word.payload, qos, word.retained)

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        kind, _, rest = message.topic.partition("/")
        with self.news:
            self.heard[kind] += 1
            if kind == "probes":
                if message.payload != b"0":
                    self.probed[rest] = time.monotonic()
            elif kind == "lamps":
                self.told[rest] = json.loads(message.payload)
            else:
                self.states[rest.split("/")[1]] = json.loads(message.payload)
            self.news.notify_all()
