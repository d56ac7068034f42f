"""The least that any program must do between a sensor and a lamp: paho, JSON in, JSON out. `python bare.py PORT`."""

import json
import socket
import sys

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTMessage

SENSOR, LAMP = "bare/sensor", "bare/lamp"


def run(port: int) -> None:
    client = Client(CallbackAPIVersion.VERSION2)

    def answer(_client: Client, _userdata: object, message: MQTTMessage) -> None:
        lit = json.loads(message.payload)["light"]
        client.publish(LAMP, json.dumps({"lamp": lit, "out": 204 if lit else 0, "white": 4000}), qos=1)

    client.on_message = answer
    client.on_connect = lambda *_: client.subscribe(SENSOR, 1)
    client.on_subscribe = lambda *_: print("ready", flush=True)  # noqa: T201 - whoever started it waits for this line
    client.on_socket_open = lambda _client, _userdata, sock: sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    client.connect("127.0.0.1", port)
    client.loop_forever()


if __name__ == "__main__":
    run(int(sys.argv[1]))
