"""deploy/mosquitto with the real mosquitto, and those who log in there."""

import os
import shutil
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from brokers import WITHIN_S, Mosquitto, real_part

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
DEVICES = ("bench_radar", "bench", "stair_pir", "stair")
"""Those of deploy/leerie.example.toml."""
WITHOUT_DOCKER = os.environ | {"DOCKER_HOST": "unix:///nowhere"}
"""No test reaches an engine that happens to run."""
NOT_AUTHORIZED = 0x87
"""MQTT 5.0 (OASIS standard, 2019), table 2-6."""
HEARD_BY_ALL = "audit/over"
AUDITOR = f"\nuser auditor\ntopic readwrite #\n\npattern read {HEARD_BY_ALL}\n"
"""For the tests alone: somebody who says everything, and a topic that all hear in the end."""


def fresh(folder: Path) -> Path:
    """deploy/ as it comes: without what its scripts may have made there."""
    made = shutil.ignore_patterns("secrets", "config", "passwords", "certificates", ".env")
    return shutil.copytree(DEPLOY, folder / "deploy", ignore=made)


def prepare(home: Path, *names: str) -> None:
    """As deploy/README.md says, in a copy of deploy/."""
    real_part("mosquitto_passwd")
    subprocess.run([home / "prepare", *names], check=True, capture_output=True, env=WITHOUT_DOCKER)


class Deployed(Mosquitto):
    """deploy/mosquitto as it is, but for where its files stand, the port, and the auditor."""

    def __init__(self, folder: Path, *names: str, more_access: str = "", conf: Callable[[str], str] = str) -> None:
        """`names` are let in; `more_access` stands below what deploy/ has; `conf` changes its mosquitto.conf."""
        home = folder / "mosquitto"
        shutil.copytree(DEPLOY / "mosquitto", home, dirs_exist_ok=True)
        self.home = home
        with (home / "access").open("a", encoding="utf-8") as access:
            access.write(AUDITOR + more_access)
        real_part("mosquitto_passwd")
        self.passwords = self.add("auditor", *names)
        (folder / "data").mkdir()
        text = conf((home / "mosquitto.conf").read_text(encoding="utf-8"))
        text = text.replace("/mosquitto/config/", f"{home}/").replace("/mosquitto/data/", f"{folder}/data/")
        kept = [line for line in text.splitlines() if not line.startswith(("listener 1883", "log_", "set_tcp_nodelay"))]
        super().__init__(folder, kept)

    def add(self, *names: str) -> dict[str, str]:
        """As deploy/README.md says: with the script, which prints each password once."""
        added = subprocess.run(
            [self.home / "add", *names], check=True, capture_output=True, text=True, env=WITHOUT_DOCKER
        )
        return dict(line.split() for line in added.stdout.splitlines())

    def client(self, name: str) -> "Member":
        return Member(self.port, name, self.passwords[name])


class Member:
    """Somebody who has logged in, and has asked to hear everything."""

    def __init__(self, port: int, name: str, password: str, client_id: str = "") -> None:
        self.heard: list[str] = []
        self._codes: dict[int, int] = {}
        self._news = threading.Condition()
        client = Client(CallbackAPIVersion.VERSION2, client_id, protocol=MQTTProtocolVersion.MQTTv5)
        client.username_pw_set(name, password)
        client.on_connect = lambda *_: client.subscribe([("#", 1), ("$SYS/#", 1), (f"$share/{name}/#", 1)])
        self._ready = threading.Event()
        client.on_subscribe = lambda *_: self._ready.set()
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        client.connect("127.0.0.1", port)
        self._client = client

    def __enter__(self) -> Self:
        self._client.loop_start()
        assert self._ready.wait(WITHIN_S)
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        self._client._reset_sockets()  # else the pair that wakes paho's thread may outlive its client

    def may_say(self, topic: str, payload: str = "1", retain: bool = False) -> bool:
        """Publish, and hear what the broker says to that."""
        mid = self._client.publish(topic, payload, qos=1, retain=retain).mid
        with self._news:
            assert self._news.wait_for(lambda: mid in self._codes, WITHIN_S)
            return self._codes[mid] != NOT_AUTHORIZED

    def hears(self, topic: str) -> None:
        """Wait for something on this topic."""
        with self._news:
            assert self._news.wait_for(lambda: topic in self.heard, WITHIN_S)

    def all_heard(self) -> list[str]:
        """What has come before the end of the audit."""
        self.hears(HEARD_BY_ALL)
        with self._news:
            # Each once: what comes along the shared subscription has come already.
            return [topic for topic in dict.fromkeys(self.heard) if topic != HEARD_BY_ALL]

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        with self._news:
            self.heard.append(message.topic)
            self._news.notify_all()

    def _on_publish(self, _client: Client, _userdata: object, mid: int, reason: Any, _properties: object) -> None:
        with self._news:
            self._codes[mid] = reason.value
            self._news.notify_all()
