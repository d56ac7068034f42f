"""The driver: one life of the daemon after another, each ended by a kill the moment something has happened."""

import shutil
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Literal, TypeAlias

from brokers import WITHIN_S, Heard, Mosquitto, Person
from houses import Service

from . import standing
from .house import GRACES_S, Saying, config, draw
from .ledger import Ledger
from .standing import ROUNDED_S, Standing

Mode: TypeAlias = Literal["folder", "broker", "both"]
MODES: tuple[Mode, ...] = ("folder", "broker", "both")
STARTING = ("leerie begins", "connected", "records found", "settled")
"""Events of the daemon's log after which it is killed before anybody has said anything."""
ANSWERS = ("handed over", "taken", "state", "command")
"""What the kill comes after, once it has settled: the saying is in the socket; the broker has it; it is answered."""
MOMENTS = (*STARTING, *ANSWERS, *ANSWERS)
LISTEN = ("lamps/#", "leerie/room/+/state", "leerie/service")


class Speaker(Person):
    """Can speak without waiting for the broker."""

    def hand_over(self, topic: str, payload: str) -> None:
        """Returns when it is in the socket."""
        self._client.publish(topic, payload).wait_for_publish(WITHIN_S)


class Lives:
    """One house, one way of keeping records, many deaths."""

    def __init__(self, folder: Path, mode: Mode, chance: Random, late_s: float = ROUNDED_S) -> None:
        """`late_s`: what runs towards an end may be heard to be over so long after it."""
        self.ledger = Ledger(late_s)
        self.moments: Counter[str] = Counter()
        self.longest_s = 0.0
        """From a process's start until every room's state was there."""
        self._folder = folder
        self._mode = mode
        self._chance = chance
        self._farewells = 0
        self._broker: Mosquitto
        self._person: Speaker
        self._service: Service

    def run(self, times: int) -> None:
        """Live and die so often, then live in peace until every end has come. Raises AssertionError if it hangs."""
        with Mosquitto(self._folder) as self._broker:
            self._config = config(self._folder, self._broker.port, keeps=self._mode != "broker")
            self._listen()
            try:
                self._first_life()
                for _ in range(times):
                    self._live(self._chance.choice(MOMENTS))
                self._last_life()
            finally:
                self._service.__exit__(None, None, None)
                self._person.__exit__(None, None, None)

    # ---- lives -------------------------------------------------------------------------------------------------------

    def _first_life(self) -> None:
        """Everybody comes; a wish makes sure that it is written down."""
        self._begin(settles=True)
        for room in GRACES_S:
            self._say(Saying(room, "presence", "true"))
            self._seen(room, lambda stands: stands.occupancy == "occupied", "occupied")
            self._speak(Saying(room, "bias", '{"bias": 0.1, "for": "ever"}'))
        self._end()

    def _live(self, moment: str) -> None:
        self.moments[moment] += 1
        settles = moment in ANSWERS
        self._begin(settles=settles)
        if settles:
            for _ in range(self._chance.randrange(5)):
                self._speak(self._drawn())
            self._die_of(self._drawn(), moment)
        else:
            self._service.log.until(moment)
        self._end()
        self._lose(settles)

    def _die_of(self, saying: Saying, moment: str) -> None:
        """Say it, and kill at that moment."""
        answer = f"lamps/{saying.room}" if moment == "command" and saying.commands else f"leerie/room/{saying.room}/"

        def kill(heard: Heard) -> None:
            if heard.topic.startswith(answer):
                self._kill()

        if moment in ("state", "command"):
            self.ledger.on_news = kill
        self._say(saying, waits=moment != "handed over")
        if moment in ("handed over", "taken"):
            self._kill()
        self._service.process.wait(WITHIN_S)
        self.ledger.on_news = lambda _: None

    def _last_life(self) -> None:
        """Nobody kills any more: what runs comes to its end."""
        self._begin(settles=True)
        for room in ("bench", "store"):
            until = self.ledger.last(room).until
            while until is not None and self.ledger.last(room).until is not None and time.time() < until + WITHIN_S:
                with self.ledger.news:
                    self.ledger.news.wait(ROUNDED_S)
            if self.ledger.last(room).until is not None:
                self.ledger.wrong(f"{room}: {self.ledger.last(room)} does not end")
        self._end()

    # ---- the parts of a life -----------------------------------------------------------------------------------------

    def _begin(self, *, settles: bool) -> None:
        """With `settles` it returns when every room has said how it stands."""
        self.ledger.life += 1
        self._farewells = self.ledger.farewells
        began = time.monotonic()
        self._service = Service(self._config)
        if settles:
            self.ledger.until(self.ledger.settled, "state of every room")
            self.longest_s = max(self.longest_s, time.monotonic() - began)

    def _kill(self) -> None:
        self.ledger.killed.setdefault(self.ledger.life, time.time())
        self._service.process.kill()

    def _end(self) -> None:
        """Kill it if it still lives, and hear all that the broker had of it."""
        if self._service.process.poll() is None:
            self._kill()
        self._service.__exit__(None, None, None)
        if self._service.log.of("connected"):
            self.ledger.until(lambda: self.ledger.farewells > self._farewells, "last will")

    def _lose(self, settled: bool) -> None:
        """What keeps the records is lost, but for one that has them: after a start that was cut off nobody knows."""
        lost = {"folder": "broker", "broker": "", "both": self._chance.choice(("broker", "folder", ""))}[self._mode]
        if lost == "broker" and (settled or self._mode == "folder"):
            self._person.__exit__(None, None, None)
            self._broker.kill()
            self._broker.start()
            self._listen()
        elif lost == "folder" and settled:
            shutil.rmtree(self._folder / "state")

    # ---- people ------------------------------------------------------------------------------------------------------

    def _listen(self) -> None:
        self._person = Speaker(self._broker.port, *LISTEN)
        self._person.on_heard = self.ledger.hear
        self._person.__enter__()

    def _drawn(self) -> Saying:
        stands = {room: self.ledger.last(room) for room in GRACES_S}
        occupancies = {room: standing.occupancy for room, standing in stands.items()}
        return draw(self._chance, stands["bench"].hold is not None, occupancies)

    def _say(self, saying: Saying, *, waits: bool = True) -> None:
        """`waits`: until the broker has it."""
        self.ledger.say(saying)
        (self._person.say if waits else self._person.hand_over)(saying.topic, saying.payload)

    def _speak(self, saying: Saying) -> None:
        """Say it, and wait until the room stands as it should after it."""
        room = saying.room
        before, beneath, at = self.ledger.last(room), self.ledger.beneath[room], time.time()
        made = tuple(standing.after(room, before, saying, at, beneath))
        self._say(saying)

        def answered(stands: Standing) -> bool:
            ended = [then for one in made if (then := standing.ended(one, beneath, time.time())) is not None]
            return any(standing.same(one, stands, 2 * ROUNDED_S) for one in (*made, *ended))

        self._seen(room, answered, str(made))

    def _seen(self, room: str, wanted: Callable[[Standing], bool], what: str) -> None:
        self.ledger.until(lambda: wanted(self.ledger.last(room)), f"{room} as {what}")
