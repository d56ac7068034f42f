"""A violin workshop with a flat above it, as far as messages are concerned."""

from collections.abc import Callable

import msgspec
import pytest

from leerie.config.building import (
    Battery,
    Building,
    Daylight,
    Deed,
    Feed,
    Match,
    Online,
    Pointer,
    Room,
    Rules,
    Sensor,
    Site,
)
from leerie.config.running import Broker, Journal, Service
from leerie.intake.inputs import Input
from leerie.intake.intake import Intake
from leerie.messages import Message
from leerie.notes import Refused

PRESENT = Match(("true", "1", "on", "yes", "present", "occupied", "motion", "detected"))
ABSENT = Match(("false", "0", "off", "no", "absent", "vacant", "unoccupied", "clear", "none"))
DOES: dict[str, Deed] = {
    "short": "ask light", "double": "ask dark", "long": "hold toggle", "up": "raise", "down": "lower", "1": "hold end",
}  # fmt: skip


def sensor(name: str, kind: str, topic: str, pointer: Pointer = None, **changes: object) -> Sensor:
    plain = Sensor(name, "presence", topic, pointer, PRESENT, ABSENT, 43_200_000, None, 0, None, None, None, {})
    return msgspec.structs.replace(plain, kind=kind, **changes)


SENSORS = (
    sensor(
        "bench_radar",
        "presence",
        "workshop/bench/radar",
        ("target",),
        online=Online("workshop/bench/up", None, Match(("up",)), Match(("lost",))),
        battery=Battery("workshop/bench/cell", ("percent",), 15.0),
    ),
    sensor("stair_pir", "motion", "stair/pir", clears_ms=20_000),
    sensor("door", "door", "workshop/door", present=Match(("open",)), absent=Match(("closed",))),
    sensor("wall_button", "button", "workshop/wall", ("press",), does=DOES),
    sensor("bare_button", "button", "workshop/bell", does=DOES),
    sensor(
        "glue_mat", "presence", "glue/pot", ("grams",), present=Match((), at_least=20.0), absent=Match((), below=5.0)
    ),
    sensor("varnish_warm", "presence", "glue/pot", ("zones", "1", "degrees"), present=Match((), above=31.5)),
    sensor("attic_eye", "presence", "attic/eye", present=Match(("1", "0.5")), absent=Match(("0", "1"))),
)
FEEDS = Daylight(
    100.0,
    20_000.0,
    "log",
    0.6,
    Feed("weather/now", ("cloud",), 10_800_000, "percent"),
    Feed("roof/lux", ("lx",), 900_000, "lux"),
)


def room(name: str, *sensors: str) -> Room:
    rules = Rules(sensors, (), 1.0, 10_000, 120_000, 600_000, 30_000, 0.5, 60_000, {})
    return Room(name, sensors, (), (), rules, {}, {}, None, 14_400_000, "off", False, 10_000, False)


ROOMS = (
    room("workshop", "bench_radar", "stair_pir", "door", "wall_button", "glue_mat", "varnish_warm"),
    room("stairs", "stair_pir"),
    room("attic", "attic_eye"),
)


def build(daylight: Daylight = FEEDS) -> Building:
    return Building(
        Site("Saltmarket violin workshop", 55.8569, -4.2448, "Europe/London", None, (), (0, 1, 2, 3, 4), 3000),
        Broker("127.0.0.1", 1883, "auto", "leerie", None, None, None, "leerie", 15),
        Service(None, Journal(14, 200_000_000), None, 300_000, 10_000, None, 0),
        daylight,
        {},
        {one.name: one for one in SENSORS},
        {},
        {one.name: one for one in ROOMS},
    )


@pytest.fixture(scope="session")
def intake() -> Intake:
    return Intake(build())


Take = Callable[..., Input | Refused | None]


@pytest.fixture(scope="session")
def take(intake: Intake) -> Take:
    """What one message on a topic with one reader comes to."""

    def one(topic: str, payload: bytes | str, *, retained: bool = False) -> Input | Refused | None:
        sent = payload.encode() if isinstance(payload, str) else payload
        results = intake.take(Message(topic, sent, retained))
        assert len(results) <= 1
        return results[0] if results else None

    return one


@pytest.fixture(scope="session")
def build_with() -> Callable[[Daylight], Building]:
    return build


@pytest.fixture(scope="session")
def message() -> Callable[..., Message]:
    def made(topic: str, payload: str, *, retained: bool = False) -> Message:
        return Message(topic, payload.encode(), retained)

    return made
