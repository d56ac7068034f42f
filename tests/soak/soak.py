"""The driver: fire, broker restarts, measuring; then peace, in which everything must come to where it belongs."""

import time
from collections import Counter
from collections.abc import Callable, Sequence
from math import inf
from pathlib import Path
from random import Random
from typing import Any

from brokers import WITHIN_S, Mosquitto, free_port
from houses import Service

from .ears import Ears
from .figures import Sample, at_share, by_minute, sample, scrape, slope_kib_a_minute
from .house import GRACE_S, PROBES, ROOMS, Word, arrival, config, draw, leaving

TURN_S = 0.02
SETTLES_S = 30.0 + GRACE_S
"""Everything is where it belongs so long after peace: the longest time a room has, and a busy machine's leave."""
LEVEL = 0.011
"""While a lamp glides it is told of steps of 0.01."""
KEPT = "kept.db"


class Soak:
    """One run."""

    def __init__(self, folder: Path, chance: Random, say: Callable[[str], None] = lambda _: None) -> None:
        self.wrong: list[str] = []
        self.samples: list[Sample] = []
        self.delays_s: list[tuple[float, float]] = []
        """When, since the start of the fire, and how long after a presence a lamp was told."""
        self.unanswered = 0
        """Presences after which no lamp was told anything for `PROBES` seconds, though the broker was there."""
        self.sent: Counter[str] = Counter()
        self._folder = folder
        self._chance = chance
        self._say = say
        self._probing: dict[int, float] = {}
        self._restarts = 0

    def run(self, seconds: float, a_second: float, restart_s: float = 60.0) -> None:
        """Fire for so long, so many messages a second, the broker killed each `restart_s`; then peace."""
        page = free_port()
        kept = ("persistence true", f"persistence_location {self._folder}/", f"persistence_file {KEPT}")
        settings = ("allow_anonymous true", "autosave_interval 5", *kept)
        with Mosquitto(self._folder, settings) as self._broker:
            self._ears = Ears(self._broker.port)
            try:
                with Service(config(self._folder, self._broker.port, page)) as self._service:
                    self._service.log.until("settled")
                    self._fire(seconds, a_second, restart_s, page)
                    self._peace()
                    self._report(seconds, scrape(page))
            finally:
                self._ears.close()

    # ---- fire --------------------------------------------------------------------------------------------------------

    def _fire(self, seconds: float, a_second: float, restart_s: float, page: int) -> None:
        began, fired, second = time.monotonic(), 0, 0
        while (at_s := time.monotonic() - began) < seconds:
            while fired < at_s * a_second:
                fired += 1
                self._shoot(draw(self._chance))
            self._look_at_probes(at_s)
            if at_s >= second:
                self._each_second(second, at_s, restart_s, seconds)
                if second % 60 == 0 and second:
                    self._say_minute(second // 60, scrape(page))
                second += 1
            with self._ears.news:
                self._ears.news.wait(max(0.0, TURN_S - (time.monotonic() - began - at_s)))

    def _each_second(self, second: int, at_s: float, restart_s: float, seconds: float) -> None:
        self.samples.append(sample(self._service.process.pid, at_s))
        self._probe(second % PROBES)
        if second and second % restart_s == 0 and seconds - second > restart_s / 2:
            self._restart_broker()

    def _shoot(self, word: Word) -> None:
        if self._ears.listening.is_set():
            self._ears.say(word, qos=self._chance.choice((0, 1)))
            self.sent[word.topic.partition("/")[0]] += 1

    def _restart_broker(self) -> None:
        """It dies at once, and comes back with what it had kept, or in turn with nothing."""
        self._restarts += 1
        self._broker.kill()
        if self._restarts % 2:
            (self._folder / KEPT).unlink(missing_ok=True)
        self._probing = dict.fromkeys(self._probing, inf)
        self._broker.start()

    def _probe(self, n: int) -> None:
        """Somebody comes into a quiet room; or leaves it, if no light came of it."""
        began = self._probing.pop(n, None)
        if began is not None:
            self.unanswered += began < inf
            self._ears.say(Word(f"eye/{n}", "false"))
        elif self._ears.listening.is_set():
            self._ears.say(Word(f"eye/{n}", "true"))
            self._probing[n] = time.monotonic()

    def _look_at_probes(self, at_s: float) -> None:
        """Whoever got light leaves again."""
        for n, began in list(self._probing.items()):
            told = self._ears.probed.get(str(n), 0.0)
            if told > began:
                self.delays_s.append((at_s, told - began))
                self._ears.say(Word(f"eye/{n}", "false"))
                del self._probing[n]

    # ---- peace -------------------------------------------------------------------------------------------------------

    def _peace(self) -> None:
        ears = self._ears
        assert ears.listening.wait(WITHIN_S), "the broker does not come back"
        self._catch_up()
        with ears.news:
            ears.news.wait_for(lambda: False, 1.0)  # what is said twice within half a second counts once
        for words, state in ((arrival(), "occupied"), (leaving(), "vacant")):
            for word in words:
                ears.say(word)
            with ears.news:
                ears.news.wait_for(lambda state=state: not self._amiss(state), SETTLES_S)
                self.wrong += self._amiss(state)
        if self._service.process.poll() is not None:
            self.wrong.append(f"the daemon ended with code {self._service.process.returncode}")
        self.wrong += [f"logged: {line}" for line in self._service.log.other if "Traceback" in line]

    def _catch_up(self) -> None:
        """Wait until all that was fired has been heard: whoever is far behind would lose what a full queue drops."""
        ears, began = self._ears, time.monotonic()
        while ears.probed.get("0", 0.0) < began and time.monotonic() < began + SETTLES_S:
            ears.say(Word("leerie/room/probe0/ask", "light"))
            with ears.news:
                ears.news.wait_for(lambda: ears.probed.get("0", 0.0) >= began, WITHIN_S)

    def _amiss(self, wanted: str) -> list[str]:
        """Everything that is not as it should be once everybody has come, or gone."""
        return [line for n in range(ROOMS) for line in self._amiss_in(f"room{n}", wanted)]

    def _amiss_in(self, room: str, wanted: str) -> list[str]:
        state: Any = self._ears.states.get(room)
        if state is None:
            return [f"{room} has said nothing"]
        lines = []
        if (state["state"], state["hold"]) != (wanted, None):
            lines.append(f"{room} is {state['state']}, not {wanted}; hold {state['hold']}, until {state['until']}")
        lines += [f"{room}: {fault['text']}" for fault in state["faults"]]
        for lamp, light in (state["fixtures"] or {}).items():
            told = self._ears.told.get(lamp)
            if light is None or told is None or not _fits(told, light):
                lines.append(f"{lamp} is {light} by its room's state, and was told {told}")
        return lines

    # ---- figures -----------------------------------------------------------------------------------------------------

    def _say_minute(self, minute: int, counts: dict[str, float]) -> None:
        part = by_minute(self.samples)[minute - 1]
        delays = [delay for at_s, delay in self.delays_s if (minute - 1) * 60 <= at_s < minute * 60]
        busy = (part[-1].cpu_s - part[0].cpu_s) / max(1.0, part[-1].at_s - part[0].at_s)
        self._say(f"minute {minute}: RSS {_sizes(part)}; CPU {busy:.0%}; {_delays(delays)}; {self._counted(counts)}")

    def _report(self, seconds: float, counts: dict[str, float]) -> None:
        heard = self._ears.heard
        self._say(
            f"{seconds:.0f} s, {self._restarts} broker restarts; {self._counted(counts)}; "
            f"heard: states {heard['leerie']}, commands {heard['lamps']}"
        )
        steady: Sequence[Sample] = [one for one in self.samples if one.at_s >= min(120.0, seconds / 2)]
        slope = slope_kib_a_minute(steady)
        self._say(
            f"RSS {_sizes(self.samples)}; from {steady[0].at_s:.0f} s on {slope:+.1f} KiB a minute, least squares"
        )
        self._say(f"{_delays([delay for _, delay in self.delays_s])}; {len(self.wrong)} amiss at the end")

    def _counted(self, counts: dict[str, float]) -> str:
        names = ("messages_received", "messages_refused", "commands_sent", "commands_coalesced", "broker_reconnects")
        told = ", ".join(f"{name.replace('_', ' ')} {counts[f'leerie_{name}_total']:.0f}" for name in names)
        return f"sent {self.sent.total()}, {told}, presences unanswered for {PROBES} s {self.unanswered}"


def _fits(told: Any, light: Any) -> bool:
    """Was the lamp told what its room says it is?"""
    return told["lamp"] is light["on"] and abs(told.get("out", light["level"]) - light["level"]) <= LEVEL


def _sizes(samples: Sequence[Sample]) -> str:
    rss = sorted(one.rss_kib for one in samples)
    return f"{rss[0]} / {rss[len(rss) // 2]} / {rss[-1]} KiB (least, median, most)"


def _delays(delays_s: Sequence[float]) -> str:
    median, rare = (at_share(delays_s, share) * 1e3 for share in (0.5, 0.99))
    return f"presence → command {median:.1f} ms median, {rare:.1f} ms p99 of {len(delays_s)}"
