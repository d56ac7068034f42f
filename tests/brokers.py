"""Real brokers for the tests, and somebody to speak and listen at them. Everything waits on events, with a bound."""

import contextlib
import getpass
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, NamedTuple, Self, cast

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from leerie.config.running import Broker, Tls

WITHIN_S = 10.0
"""The bound of every wait: generous, for it is a bound and no expectation."""
IN_CI = os.environ.get("CI") == "true"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def real_part(name: str) -> str:
    """The path of a program that these tests need; without it they skip, but fail in CI."""
    found = shutil.which(name, path=os.environ.get("PATH", "") + os.pathsep + "/usr/sbin")
    if found is None and IN_CI:
        pytest.fail(f"{name} is not installed, and in CI nothing real is left out")
    if found is None:
        pytest.skip(f"{name} is not installed here")
    return found


class Mosquitto:
    """A mosquitto of our own, on loopback; `settings` are lines of its configuration after the listener's."""

    def __init__(self, folder: Path, settings: Sequence[str] = ("allow_anonymous true",)) -> None:
        self.port = free_port()
        self.log: list[str] = []
        self._program = real_part("mosquitto")
        self._file = folder / f"mosquitto-{self.port}.conf"
        lines = [
            f"listener {self.port} 127.0.0.1",
            f"user {getpass.getuser()}",  # started by root it would become another user, who may not read our files
            "set_tcp_nodelay true",
            "log_dest stderr",
            "log_type all",
            *settings,
        ]
        self._file.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self.stop()

    def start(self) -> None:
        """Returns when clients can connect."""
        self._process = subprocess.Popen([self._program, "-c", self._file], stderr=subprocess.PIPE, text=True)
        running = threading.Event()
        threading.Thread(target=self._follow, args=(self._process, running), daemon=True).start()
        if not running.wait(WITHIN_S) or self._process.poll() is not None:
            pytest.fail("mosquitto did not start:\n" + "\n".join(self.log))

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(WITHIN_S)
            self._process = None

    def freeze(self) -> None:
        """It stands still: what is sent to it waits in its socket."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def kill(self) -> None:
        """It dies without a word, frozen or not."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(WITHIN_S)

    def _follow(self, process: "subprocess.Popen[str]", running: threading.Event) -> None:
        assert process.stderr is not None
        with process.stderr as lines:
            for line in lines:
                self.log.append(line.rstrip())
                if line.rstrip().endswith("running"):
                    running.set()
        running.set()


class Kind(NamedTuple):
    """A broker and the version of the protocol that is spoken with it."""

    name: str
    protocol: str


KINDS = (Kind("mosquitto", "5"), Kind("mosquitto", "3.1.1"), Kind("amqtt", "3.1.1"))
EMBEDDED = """
import sys
from leerie.runtime.broker import EmbeddedBroker

with EmbeddedBroker() as broker:
    print(broker.port, flush=True)
    sys.stdin.read()
"""
"""In a process of its own, which ends with ours: amqtt leaves sockets for the garbage collector to find."""


@contextlib.contextmanager
def serving(kind: Kind, folder: Path) -> Iterator[Broker]:
    """A broker of this kind, and the config that leads to it."""
    if kind.name == "amqtt":
        pytest.importorskip("amqtt", reason="the demo extra is not installed")
        with subprocess.Popen(
            [sys.executable, "-c", EMBEDDED], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as process:
            assert process.stdin is not None
            assert process.stdout is not None
            yield at(int(process.stdout.readline()), kind.protocol)
            process.stdin.close()
            process.wait(WITHIN_S)
    else:
        with Mosquitto(folder) as mosquitto:
            yield at(mosquitto.port, kind.protocol)


def at(
    port: int,
    protocol: str = "auto",
    tls: Tls | None = None,
    *,
    username: str | None = None,
    password: str | None = None,
) -> Broker:
    """The config of a broker on loopback."""
    return Broker(
        host="127.0.0.1",
        port=port,
        protocol=cast("Literal['auto', '5', '3.1.1']", protocol),
        client_id="leerie",
        username=username,
        password=password,
        tls=tls,
        topics="leerie",
        keepalive_s=15,
    )


def certificates(folder: Path) -> Path:
    """A certificate authority, a server's and a client's certificate with their keys, made on the spot."""
    openssl = real_part("openssl")

    def make(*words: str) -> None:
        subprocess.run([openssl, *words], cwd=folder, check=True, capture_output=True)

    new = ("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    make(*new, "-x509", "-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=workshop authority", "-days", "2")
    # From Python 3.13 on certificates are held to RFC 5280, which asks for both identifiers.
    identifiers = "subjectKeyIdentifier = hash\nauthorityKeyIdentifier = keyid\n"
    (folder / "names").write_text(f"subjectAltName = IP:127.0.0.1\n{identifiers}")
    for name in ("server", "client"):
        make(*new, "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}")
        sign = ("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial")
        make(*sign, "-out", f"{name}.pem", "-days", "2", "-extfile", "names")
    return folder


class Heard(NamedTuple):
    topic: str
    payload: bytes
    retained: bool

    @property
    def value(self) -> Any:
        return json.loads(self.payload)


class Person:
    """Somebody at the broker: speaks as sensors do, and listens to lamps and rooms."""

    def __init__(self, port: int, *topics: str, username: str | None = None, password: str | None = None) -> None:
        """Listens to `topics`."""
        self.heard: list[Heard] = []
        self.on_heard: Callable[[Heard], None] = lambda _: None
        self._news = threading.Condition()
        self._ready = threading.Event()
        self._topics = topics or ("#",)
        client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311)
        if username is not None:
            client.username_pw_set(username, password)
        client.on_connect = lambda *_: client.subscribe([(topic, 1) for topic in self._topics])
        client.on_subscribe = lambda *_: self._ready.set()
        client.on_message = self._on_message
        client.on_socket_open = lambda _client, _userdata, sock: sock.setsockopt(
            socket.IPPROTO_TCP, socket.TCP_NODELAY, 1
        )
        client.connect("127.0.0.1", port)
        self._client = client

    def __enter__(self) -> Self:
        self._client.loop_start()
        assert self._ready.wait(WITHIN_S), "the broker granted no subscription"
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        # paho's thread may end before it has closed its socket; the pair by which it is woken it leaves to its own end,
        # which may come after theirs.
        self._client._reset_sockets()

    def say(self, topic: str, payload: bytes | str, retain: bool = False, wait: bool = True) -> None:
        """Publish, and wait until the broker has taken it."""
        said = self._client.publish(topic, payload, qos=1, retain=retain)
        if wait:
            said.wait_for_publish(WITHIN_S)

    def hears(self, topic: str, wanted: Callable[[Heard], bool] = lambda _: True, *, after: int = 0) -> Heard:
        """The first message on this topic, among those heard since `after` of them, that is as wanted."""
        found: list[Heard] = []

        def look() -> bool:
            found.extend(heard for heard in self.heard[after:] if heard.topic == topic and wanted(heard))
            return bool(found)

        with self._news:
            if not self._news.wait_for(look, WITHIN_S):
                on_topic = [heard.payload for heard in self.heard[after:] if heard.topic == topic]
                raise AssertionError(f"not heard on {topic} within {WITHIN_S:.0f} s; heard there: {on_topic}")
        return found[0]

    @property
    def count(self) -> int:
        """How many messages have been heard so far: to be given as `after`."""
        with self._news:
            return len(self.heard)

    def on(self, topic: str, after: int = 0) -> list[Heard]:
        with self._news:
            return [heard for heard in self.heard[after:] if heard.topic == topic]

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        with self._news:
            heard = Heard(message.topic, bytes(message.payload), message.retain)
            self.heard.append(heard)
            self._news.notify_all()
        self.on_heard(heard)
