"""The far end of a link, made to misbehave: a broker that does as it is told, and a road to a real one that goes bad.

Both are on loopback, and both keep to one connection at a time in a thread of their own. Packets are MQTT 5.0's (OASIS
standard, 2019), and 3.1.1's (2014) for who connects with that.
"""

import contextlib
import socket
import struct
import threading
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import NamedTuple, Self

from brokers import WITHIN_S

CONNACK, PUBLISH, PUBACK, SUBACK, UNSUBACK, PINGRESP, DISCONNECT = 0x20, 0x30, 0x40, 0x90, 0xB0, 0xD0, 0xE0


def packet(first: int, body: bytes = b"") -> bytes:
    """With its length in front (2.1.4)."""
    length, left = b"", len(body)
    while True:
        left, seven = divmod(left, 128)
        length += bytes([seven | (0x80 if left else 0)])
        if not left:
            return bytes([first]) + length + body


class Said(NamedTuple):
    """A publish that has come in."""

    mid: int
    topic: str
    payload: bytes


class Caller:
    """One client of the broker."""

    def __init__(self, sock: socket.socket) -> None:
        self.sock = sock
        self.five = False
        self.connect = b""
        """The body of its CONNECT."""
        self._stream = sock.makefile("rb")

    def send(self, first: int, body: bytes = b"") -> None:
        self.sock.sendall(packet(first, body))

    def welcome(self, code: int = 0, properties: bytes = b"") -> None:
        """CONNACK (3.2)."""
        self.send(CONNACK, bytes([0, code]) + (bytes([len(properties)]) + properties if self.five else b""))

    def acknowledge(self, mid: int) -> None:
        self.send(PUBACK, struct.pack(">H", mid))

    def leave(self, code: int, properties: bytes = b"") -> None:
        """DISCONNECT (3.14)."""
        self.send(DISCONNECT, bytes([code, len(properties)]) + properties)

    def packets(self) -> Iterator[tuple[int, bytes]]:
        """First byte and body of each packet, until the end of the connection."""
        while first := self._stream.read(1):
            length, shift = 0, 0
            while True:
                (byte,) = self._stream.read(1)
                length |= (byte & 0x7F) << shift
                shift += 7
                if not byte & 0x80:
                    break
            yield first[0], self._stream.read(length)

    def close(self) -> None:
        for end in (self._stream, self.sock):
            with contextlib.suppress(OSError):
                end.close()


class Peer:
    """A broker just good enough to settle with, and as bad beyond that as a test wants it to be."""

    def __init__(self) -> None:
        self.greet: Callable[[Caller], None] = Caller.welcome
        """What it answers to CONNECT."""
        self.settled: Callable[[Caller], None] = lambda _: None
        """What it does when the link has subscribed to all it wants, and has its canary back."""
        self.takes = True
        """Publishes but for the canary are acknowledged."""
        self.pings = True
        self.said: list[Said] = []
        self.calls = 0
        self.caller: Caller | None = None
        self.news = threading.Condition()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        for sock in (self._server, self.caller.sock if self.caller else None):
            if sock is not None:
                with contextlib.suppress(OSError):
                    sock.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join(WITHIN_S)

    def take(self, count: int) -> list[Said]:
        """Acknowledge the oldest so many of what has not been acknowledged, and forget them."""
        with self.news:
            taken, self.said[:count] = self.said[:count], []
        assert self.caller is not None
        for said in taken:
            self.caller.acknowledge(said.mid)
        return taken

    def _serve(self) -> None:
        while True:
            try:
                sock, _address = self._server.accept()
            except OSError:
                return
            caller = Caller(sock)
            self.caller = caller
            self.calls += 1
            with contextlib.suppress(OSError, ValueError):  # the link hung up, or nobody wants any more of this
                for first, body in caller.packets():
                    self._answer(caller, first, body)
            caller.close()

    def _answer(self, caller: Caller, first: int, body: bytes) -> None:
        match first & 0xF0:
            case 0x10:
                caller.five = body[6] == 5
                caller.connect = body
                self.greet(caller)
            case 0x30:
                self._hear(caller, body)
            case 0x80:
                caller.send(
                    SUBACK, body[:2] + (b"\x00" if caller.five else b"") + b"\x01" * _filters(body, caller.five)
                )
            case 0xA0:
                caller.send(UNSUBACK, body[:2] + (b"\x00\x00" if caller.five else b""))
            case 0xC0 if self.pings:
                caller.send(PINGRESP)
            case 0xE0:
                raise ValueError("it has left")
            case _:
                pass

    def _hear(self, caller: Caller, body: bytes) -> None:
        end = 2 + struct.unpack(">H", body[:2])[0]
        topic, mid = body[2:end].decode(), struct.unpack(">H", body[end : end + 2])[0]
        rest = end + 2 + (1 + body[end + 2] if caller.five else 0)
        if topic.endswith("/canary"):
            caller.acknowledge(mid)
            caller.send(PUBLISH, body[:end] + (b"\x00" if caller.five else b"") + body[rest:])
            self.settled(caller)
            return
        if self.takes:
            caller.acknowledge(mid)
        with self.news:
            self.said.append(Said(mid, topic, body[rest:]))
            self.news.notify_all()


def _filters(body: bytes, five: bool) -> int:
    """How many filters a SUBSCRIBE names (3.8.3)."""
    at, count = 2 + (1 + body[2] if five else 0), 0
    while at < len(body):
        at += 2 + struct.unpack(">H", body[at : at + 2])[0] + 1
        count += 1
    return count


class Road:
    """Leads to a real broker, and can be made to go bad: so slow that bytes drip, or a hole that swallows them."""

    def __init__(self, port: int) -> None:
        """`port`: the real broker's."""
        self.drip: tuple[int, float] | None = None
        """From the broker come only so many bytes at a time, with so many seconds between."""
        self.swallows = False
        self._to = port
        self._over = threading.Event()
        self._socks: list[socket.socket] = []
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._threads = [threading.Thread(target=self._open, daemon=True)]

    def __enter__(self) -> Self:
        self._threads[0].start()
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self._over.set()
        for sock in (self._server, *self._socks):
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(WITHIN_S)
        for sock in (self._server, *self._socks):
            sock.close()

    def _open(self) -> None:
        while not self._over.is_set():
            try:
                near, _address = self._server.accept()
                self._socks.append(near)
                far = socket.create_connection(("127.0.0.1", self._to), WITHIN_S)
            except OSError:
                return
            far.settimeout(None)
            self._socks.append(far)
            for ends in ((near, far, False), (far, near, True)):
                thread = threading.Thread(target=self._carry, args=ends, daemon=True)
                self._threads.append(thread)
                thread.start()

    def _carry(self, source: socket.socket, sink: socket.socket, home: bool) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(self.drip[0] if self.drip and home else 65536):
                if self.drip and home:
                    self._over.wait(self.drip[1])
                if not self.swallows:
                    sink.sendall(data)
        if not self.swallows:
            with contextlib.suppress(OSError):
                sink.shutdown(socket.SHUT_WR)
