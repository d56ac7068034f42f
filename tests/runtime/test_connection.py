"""What goes over the wire, byte by byte, where no broker would show it.

Numbers in brackets are sections of MQTT 5.0 (OASIS standard, 2019); 3.1.1 (2014) has the same where it has them.
"""

import socket
import struct

import pytest

from brokers import WITHIN_S, at
from leerie.runtime.connection import Connection, Welcome

CONNACK = {"5": b"\x20\x03\x00\x00\x00", "3.1.1": b"\x20\x02\x00\x00"}
PROTOCOL_LEVEL = {"5": 5, "3.1.1": 4}


def connected(server: socket.socket, version: str) -> tuple[Connection, socket.socket, bytes]:
    """A connection, the broker's end of it, and the CONNECT that was sent."""
    connection = Connection(at(server.getsockname()[1]), "leerie", version, ("leerie/service", b'{"running": false}'))
    connection.dial()
    peer, _address = server.accept()
    peer.settimeout(WITHIN_S)
    connect = peer.recv(1_000)
    peer.sendall(CONNACK[version])
    words: list[object] = []
    while not words:
        connection.read()
        words += connection.take()
    assert words == [Welcome()]
    return connection, peer, connect


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_session_is_clean_and_leaves_a_retained_will(version: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        connection, peer, connect = connected(server, version)
        with peer:
            assert connect[2:9] == b"\x00\x04MQTT" + bytes([PROTOCOL_LEVEL[version]])
            flags = connect[9]
            assert flags & 0x02, "clean start (MQTT 5.0, 3.1.2.4)"
            assert flags & 0x04, "will (3.1.2.5)"
            assert (flags >> 3) & 0x03 == 1, "will QoS 1 (3.1.2.6)"
            assert flags & 0x20, "will retain (3.1.2.7)"
            assert struct.unpack(">H", connect[10:12]) == (15,), "keep alive, s (3.1.2.10)"
            connection.goodbye()


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_command_is_qos_1_not_retained_and_expires_where_the_protocol_knows_that(version: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        connection, peer, _connect = connected(server, version)
        with peer:
            connection.publish("lamps/bench", b"on", expiry_s=90)
            packet = peer.recv(1_000)
            assert packet[0] == 0x32, "PUBLISH, QoS 1, not retained (3.3.1)"
            mid = packet[4 + len("lamps/bench") :]
            expiry = b"\x05\x02" + struct.pack(">I", 90)  # properties' length, message expiry interval (3.3.2.3.3)
            assert mid[2:] == (expiry if version == "5" else b"") + b"on"
            connection.goodbye()


def test_commands_go_out_at_once() -> None:
    """Nagle's algorithm, RFC 896, would wait for the broker's acknowledgement of what went before."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        connection, peer, _connect = connected(server, "5")
        with peer:
            assert connection.socket.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
            connection.goodbye()


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_message_is_acknowledged_when_it_is_told_to_and_not_before(version: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        connection, peer, _connect = connected(server, version)
        with peer:
            properties = b"\x00" if version == "5" else b""
            body = b"\x00\x09shed/door" + b"\x00\x07" + properties + b"open"
            peer.sendall(b"\x32" + bytes([len(body)]) + body)
            words: list[object] = []
            while not words:
                connection.read()
                words += connection.take()
            (got,) = words
            assert (got.topic, got.payload, got.retained, got.receipt) == ("shed/door", b"open", False, 7)  # type: ignore[attr-defined] # a Got
            peer.setblocking(False)
            with pytest.raises(BlockingIOError):
                peer.recv(1)
            peer.settimeout(WITHIN_S)
            connection.acknowledge(7)
            assert peer.recv(4) == b"\x40\x02\x00\x07", "PUBACK (3.4)"
            connection.goodbye()


def test_a_topic_that_is_no_text_is_no_crash() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        connection, peer, _connect = connected(server, "3.1.1")
        with peer:
            peer.sendall(b"\x30\x05\x00\x02\xff\xfex")
            words: list[object] = []
            while not words:
                connection.read()
                words += connection.take()
            assert words[0].topic == ""  # type: ignore[attr-defined] # a Got
            connection.goodbye()
