"""From a sensor through a real broker to a lamp: leerie and a bare client in turn, on the same machine."""

import itertools
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from brokers import Mosquitto, Person
from houses import Service, workshop

from . import bare
from .measures import Figure

LAMP, ASK, MEMORY = "lamps/bench/do", "leerie/room/workshop/ask", "leerie/memory/workshop"


def figures(rounds: int = 400) -> Iterator[Figure]:
    """Each the median of so many ways, the bare client's first; then those that took longest but one in a hundred."""
    with tempfile.TemporaryDirectory() as folder, Mosquitto(Path(folder)) as mosquitto:
        config = workshop(Path(folder), mosquitto.port, service=f'state_dir = "{folder}/state"')
        config.write_text(config.read_text().replace("pace = 50", "pace = 1000"))
        with (
            _bare_client(mosquitto.port),
            Service(config) as leerie,
            Person(mosquitto.port, LAMP, MEMORY, bare.LAMP) as person,
        ):
            leerie.log.until("settled")
            bares: list[float] = []
            leeries: list[float] = []
            for lit, _ in zip(itertools.cycle((True, False)), range(rounds), strict=False):
                bares.append(_way(person, bare.SENSOR, json.dumps({"light": lit}), bare.LAMP))
                before = person.count
                leeries.append(_way(person, ASK, "light" if lit else "dark", LAMP))
                person.hears(MEMORY, after=before)  # and has written it down: one way is measured, not a row of them
    for name, of in (("a bare client", bares), ("leerie", leeries)):
        yield Figure(f"{name}: from the sensor's message to the lamp's, through mosquitto", statistics.median(of))
    for name, of in (("a bare client", bares), ("leerie", leeries)):
        yield Figure(f"{name}: the same, the slowest of a hundred left out", statistics.quantiles(of, n=100)[-1])


def _way(person: Person, topic: str, payload: str, lamp: str) -> float:
    """µs until the lamp hears."""
    before = person.count
    began = time.perf_counter()
    person.say(topic, payload, wait=False)
    person.hears(lamp, after=before)
    return (time.perf_counter() - began) * 1e6


@contextmanager
def _bare_client(port: int) -> Iterator[None]:
    program = [sys.executable, str(Path(bare.__file__)), str(port)]
    with subprocess.Popen(program, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        try:
            yield
        finally:
            process.kill()
