"""One connection to the broker, from dialling to goodbye: paho's client, tamed.

A connection is used once. paho keeps what a broker has not acknowledged and sends it again by itself after a
reconnect, into a hold if need be; a new client has nothing to send again. Its callbacks only append to an inbox,
for an exception in one of them is the end of paho's loop.
"""

import contextlib
import socket
import ssl
import time
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Any, Final, TypeAlias

import msgspec
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from leerie.config.running import Broker
from leerie.messages import AT_ONCE
from leerie.runtime.tls import papers
from leerie.runtime.why import DIAL_S, closed, told, turned

VERSIONS = {"5": MQTTProtocolVersion.MQTTv5, "3.1.1": MQTTProtocolVersion.MQTTv311}
TAKEN_OVER: Final = 142
"""MQTT 5.0, table 2-6: session taken over."""
READ_AT_ONCE: Final = 50
"""Words of the broker's that are taken in one turn, some few more at most."""
LONGEST: Final = 1 << 20
"""No packet that means anything to us is nearly as long (bytes)."""


def versions(broker: Broker) -> tuple[str, ...]:
    """Versions of the protocol to try, in order."""
    return ("5", "3.1.1") if broker.protocol == "auto" else (broker.protocol,)


class Welcome(msgspec.Struct, frozen=True):
    """The broker let us in."""


class Turned(msgspec.Struct, frozen=True):
    """The broker let us not in."""

    why: str
    version: bool
    """It may be the protocol's version that it does not speak."""


class Got(msgspec.Struct, frozen=True):
    topic: str
    payload: bytes
    retained: bool
    receipt: int
    """To acknowledge with; 0 where nothing is to be acknowledged."""
    heard: float
    """time.perf_counter() at which it came in."""


class Granted(msgspec.Struct, frozen=True):
    """What became of a subscription, filter by filter."""

    mid: int
    granted: tuple[bool, ...]


class Taken(msgspec.Struct, frozen=True):
    """The broker answered a publish."""

    mid: int
    ok: bool


class Gone(msgspec.Struct, frozen=True):
    why: str
    thrown_off: bool
    """The broker ended it, not we and not the network: somebody may have come with our client id."""


Word: TypeAlias = Welcome | Turned | Got | Granted | Taken | Gone


class Connection:
    """`dial()` may be called in a thread of its own; all the rest belongs to one thread."""

    def __init__(self, broker: Broker, client_id: str, version: str, will: tuple[str, bytes] | None = None) -> None:
        """`version`: "5" or "3.1.1"; `will`: topic and payload of what the broker keeps for all when we die."""
        self.version = version
        self.limit = AT_ONCE
        """Publishes that may be unacknowledged at a time; known once we are let in."""
        self.broker = broker
        self._five = version == "5"
        self._inbox: deque[Word] = deque()
        self._flying: set[int] = set()
        self._answered_s = 0.0
        self._welcome = False
        self._over = False
        clean = None if self._five else True
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id,
            clean,
            None,
            VERSIONS[version],
            reconnect_on_failure=False,
            manual_ack=True,
        )
        # Publishes in flight are bounded by who publishes; a queue inside paho would let stale commands out late.
        client.max_inflight_messages_set(0)
        client.connect_timeout = DIAL_S
        if broker.username is not None:
            client.username_pw_set(broker.username, broker.password)
        if will is not None:
            client.will_set(will[0], will[1], qos=1, retain=True)
        client.on_socket_open = _at_once
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        self._client = client

    # ---- the socket --------------------------------------------------------------------------------------------------

    def dial(self) -> None:
        """Connect and send CONNECT. Blocks for seconds at worst; raises OSError or ValueError."""
        if self.broker.tls is not None:
            self._client.tls_set_context(papers(self.broker.tls))
        properties = None
        if self._five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call] # paho's own gap
            properties.MaximumPacketSize = LONGEST
        self._client.connect(self.broker.host, self.broker.port, self.broker.keepalive_s, properties=properties)

    @property
    def socket(self) -> Any:
        """What to wait on, or None once it is closed."""
        return None if self._over else self._client.socket()

    @property
    def pending(self) -> bool:
        """Bytes have come that a wait on the socket would not see: TLS has decrypted them already."""
        sock = self._client.socket()
        return isinstance(sock, ssl.SSLSocket) and sock.pending() > 0

    @property
    def wants_write(self) -> bool:
        return self._client.want_write()

    def read(self) -> None:
        """Read what is there, and so much at most. Nothing is read before the inbox is empty."""
        if self._inbox:
            return
        words = -1
        while words < len(self._inbox) < READ_AT_ONCE and not self._over:
            words = len(self._inbox)
            self._read_once()

    def _read_once(self) -> None:
        """Read a packet, or as many as there are publishes in flight: so paho does it."""
        self._guarded(self._client.loop_read)
        length = self._client._in_packet["remaining_length"]
        if length > LONGEST:  # paho would gather all of it, 256 MiB if need be
            self._end(f"it sends a packet of {length} bytes; more than {LONGEST} are never read")
            self.hang_up()

    def write(self) -> None:
        self._guarded(self._client.loop_write)

    def tick(self) -> None:
        """Keep it alive, and notice when the other end is dead or takes nothing any more. Once a second or so."""
        self._guarded(self._client.loop_misc)
        patience_s = 2 * self.broker.keepalive_s
        if self._flying and time.monotonic() - self._answered_s >= patience_s:
            self._end(f"it has acknowledged nothing for {patience_s} s")
            self.hang_up()

    def take(self) -> Iterator[Word]:
        """Empty the inbox."""
        while self._inbox:
            yield self._inbox.popleft()

    def _guarded(self, turn: Any) -> None:
        try:
            turn()
        except Exception as fault:  # noqa: BLE001 -- what a broken peer makes paho's decoder raise is not ours to know
            self._end(f"what it sent is no MQTT {self.version} ({type(fault).__name__})")
            self.hang_up()

    def _end(self, why: str, *, thrown_off: bool = False) -> None:
        """It is over, and that is told once."""
        if not self._over:
            self._over = True
            # Before it lets us in, a broker may end it in any manner because it does not speak our version.
            self._inbox.append(Gone(why, thrown_off) if self._welcome else Turned(why, version=True))

    # ---- what we say -------------------------------------------------------------------------------------------------

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, expiry_s: int | None = None) -> int:
        """Hand a QoS 1 publish over and return its mid. `expiry_s` needs MQTT 5 and is left out elsewhere."""
        properties = None
        if self._five and expiry_s is not None:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call] # paho's own gap
            properties.MessageExpiryInterval = expiry_s
        mid = self._client.publish(topic, payload, qos=1, retain=retain, properties=properties).mid
        if not self._flying:
            self._answered_s = time.monotonic()
        self._flying.add(mid)
        return mid

    @property
    def room(self) -> int:
        """So many more publishes may go now."""
        return self.limit - len(self._flying)

    def subscribe(self, filters: Sequence[str], qos: int = 1) -> int:
        """Ask for these and return the request's mid; what was kept comes each time one subscribes."""
        wanted: list[Any] = [(name, SubscribeOptions(qos) if self._five else qos) for name in filters]
        return self._client.subscribe(wanted)[1] or 0

    def unsubscribe(self, topic: str) -> None:
        self._client.unsubscribe(topic)

    def acknowledge(self, receipt: int) -> None:
        if receipt:
            self._client.ack(receipt, 1)

    def goodbye(self) -> None:
        """Leave cleanly: the broker forgets the will."""
        self._over = True
        with contextlib.suppress(Exception):
            self._client.disconnect()
        self.hang_up()

    def hang_up(self) -> None:
        """Close the socket; the broker learns of it by itself."""
        self._over = True
        sock = self._client.socket()
        if sock is not None:
            with contextlib.suppress(OSError):
                sock.close()

    # ---- what we hear ------------------------------------------------------------------------------------------------

    def _on_connect(
        self, _c: Client, _u: object, _f: ConnectFlags, reason: ReasonCode, properties: Properties | None
    ) -> None:
        if reason.is_failure:
            self._over = True
            version = reason.getName() == "Unsupported protocol version"
            self._inbox.append(Turned(turned(reason, properties, self.broker), version))
            return
        self._welcome = True
        self.limit = max(1, min(AT_ONCE, getattr(properties, "ReceiveMaximum", AT_ONCE)))
        # A broker may want to hear of us less often, or never; whether it lives is for us to know as soon as ever.
        self._client._keepalive = min(self._client.keepalive or self.broker.keepalive_s, self.broker.keepalive_s)
        self._inbox.append(Welcome())

    def _on_disconnect(
        self, _c: Client, _u: object, flags: DisconnectFlags, reason: ReasonCode, properties: Properties | None
    ) -> None:
        name = reason.getName()
        if flags.is_disconnect_packet_from_server:
            self._end(told(reason, properties), thrown_off=reason.value == TAKEN_OVER)
        elif name == "Keep alive timeout":
            self._end(name.lower())
        elif name == "Protocol error":
            self._end(f"what it sent is no MQTT {self.version}")
        else:
            self._end("connection closed" if self._welcome else closed(self.broker), thrown_off=True)

    def _on_message(self, _c: Client, _u: object, message: MQTTMessage) -> None:
        receipt = message.mid if message.qos == 1 else 0
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = ""
        self._inbox.append(Got(topic, bytes(message.payload), message.retain, receipt, time.perf_counter()))

    def _on_subscribe(self, _c: Client, _u: object, mid: int, reasons: list[ReasonCode], _p: object) -> None:
        self._inbox.append(Granted(mid, tuple(not reason.is_failure for reason in reasons)))

    def _on_publish(self, _c: Client, _u: object, mid: int, reason: ReasonCode, _p: object) -> None:
        self._flying.discard(mid)
        self._answered_s = time.monotonic()
        self._inbox.append(Taken(mid, not reason.is_failure))


def _at_once(_client: Client, _userdata: object, sock: Any) -> None:
    """Nagle's algorithm would hold a command back until the broker's last acknowledgement is in."""
    with contextlib.suppress(OSError):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
