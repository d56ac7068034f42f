"""Whatever happens to a house, its journal played again commands the same, to the byte."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy
from itertools import takewhile
from pathlib import Path
from random import Random
from typing import Any, Literal, cast, get_args

import pytest

from leerie.config.building import Building
from leerie.config.running import Journal as Keeps
from leerie.controller import Controller
from leerie.journal import Call, JournalError, Reader, Step, Stretch, is_kept
from leerie.messages import Outcome, Publish
from leerie.notes import Note
from leerie.now import SECOND_MS, Now
from leerie.rehearsal.replay import Played, replay
from leerie.runtime import journal as journals
from leerie.runtime import log
from leerie.runtime.journal import Journal
from leerie.runtime.recorded import Recorded

from . import trial as trials
from .house import draw
from .trial import Trial

KEEPS = Keeps(days=1_000, most_bytes=10**9)
SEEDS = range(6)


class Seen(Recorded):
    """Recorded, and open to the trial, which looks inside."""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._controller, name)


class Lived(Trial):
    """A trial with its journal, in which the controller is also asked each second, as the daemon does, and the wall
    clock runs a little fast or slow.
    """

    def __init__(self, seed: int, folder: Path) -> None:
        self.folder_of_the_journal = folder
        self.reloads = False
        self.buildings: list[Building] = []
        self.told: list[tuple[Now, Publish]] = []
        self.remarks: list[Note] = []
        super().__init__(seed)

    def take(self, outcome: Outcome, **how: bool) -> None:
        self.keep(outcome)
        super().take(outcome, **how)

    def keep(self, outcome: Outcome) -> None:
        self.told += [(self.now, publish) for publish in outcome.commands]
        self.remarks += filter(is_kept, outcome.notes)

    def reload(self) -> None:
        self.reloads = True
        super().reload()
        self.reloads = False

    def broker_acknowledges(self) -> None:
        super().broker_acknowledges()
        if self.flying and self.random.random() < 0.1:
            self.deliver(0, ok=False)

    def say_partings(self) -> None:
        self.told += [(self.now, publish) for publish in deepcopy(self.partings).say()]
        super().say_partings()

    def time_passes(self) -> None:
        super().time_passes()
        for _ in range(3):
            self.pass_time(SECOND_MS)
            self.now = Now(self.now.steady, self.now.wall + self.random.randrange(-60_000, 60_000))
            self.take(self.controller.advance(self.now))


@contextmanager
def trial_of(seed: int, folder: Path, journal: Journal) -> Iterator[Lived]:
    def make(building: Building, memory: dict[str, bytes], boot: str, **known: bool) -> Seen:
        trial.buildings.append(building)
        controller = Controller(building, memory, boot, **known)
        why: Literal["start", "reload"] = "reload" if trial.reloads else "start"
        return Seen(controller, journal, building, memory, boot, **known, why=why)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trials, "Controller", lambda *_, **__: None)
        trial = Lived(seed, folder)
        patch.setattr(trials, "Controller", make)
        trial.controller = cast("Controller", make(trial.building, {}, trial.boot, clock_known=trial.clock_known))
        yield trial


def live(seed: int, folder: Path, steps: int = 200) -> Lived:
    """A whole trial, to a clean stop."""
    with Journal(str(folder), KEEPS, log.make("json")) as journal, trial_of(seed, folder, journal) as trial:
        trial.run(steps)
        trial.keep(trial.controller.farewell(trial.now))
    return trial


@pytest.fixture(scope="module")
def lives(tmp_path_factory: pytest.TempPathFactory) -> list[Lived]:
    return [live(seed, tmp_path_factory.mktemp("state")) for seed in SEEDS]


def played(folder: Path, *buildings: Building) -> list[Played]:
    return list(replay((entry for _, entry in Reader(folder).entries()), *buildings))


def commanded(steps: list[Played]) -> list[tuple[Now, Publish]]:
    return [(step.entry.now, publish) for step in steps for publish in step.outcome.commands]


@pytest.mark.trial
def test_a_replay_commands_exactly_what_was_commanded(lives: list[Lived]) -> None:
    for trial in lives:
        again = played(trial.folder_of_the_journal, *trial.buildings)
        assert commanded(again) == trial.told
        assert [note for step in again for note in step.outcome.notes if is_kept(note)] == trial.remarks
        assert all(step.exact and not step.apart for step in again)


@pytest.mark.trial
def test_the_journals_have_all_that_is_hard(lives: list[Lived]) -> None:
    """Restarts, another boot, midnights, lost connections, refused commands, steps of the clock."""
    entries = [entry for trial in lives for _, entry in Reader(trial.folder_of_the_journal).entries()]
    counts = Counter(entry.why if isinstance(entry, Stretch) else entry.call for entry in entries)
    assert {*get_args(Call), "start", "reload", "midnight"} == set(counts)
    assert len({entry.boot for entry in entries if isinstance(entry, Stretch)}) > 1
    assert all(
        any(trial.counts[happening] for trial in lives) for happening in ("clock steps", "told off at a parting")
    )


@pytest.mark.trial
def test_calls_that_change_nothing_are_left_out(lives: list[Lived]) -> None:
    """A house asleep asks each second."""
    trial = lives[0]
    folder = trial.folder_of_the_journal / "asleep"
    with Journal(str(folder), KEEPS, log.make("json")) as journal:
        controller = Recorded(Controller(trial.building, trial.folder, "boot"), journal, trial.building, {}, "boot")
        controller.linked(trial.now)
        for second in range(3_600):
            now = trial.now.at(trial.now.steady + second * SECOND_MS)
            controller.advance(now)
    calls = [entry.call for _, entry in Reader(folder).entries() if isinstance(entry, Step)]
    assert 59 <= calls.count("advance") < 200, "one a minute, and what is due"


@pytest.mark.trial
def test_what_was_noted_stands_beside_its_step(lives: list[Lived]) -> None:
    trial = lives[3]
    reader = Reader(trial.folder_of_the_journal)
    steps = played(trial.folder_of_the_journal, *trial.buildings)
    for (number, _), step in list(zip(reader.entries(), steps, strict=True))[:400]:
        assert reader.notes(number) == tuple(filter(is_kept, step.outcome.notes))


@pytest.mark.trial
@pytest.mark.parametrize("seed", SEEDS[:3])
def test_a_replay_does_not_cross_a_gap(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk does not keep up: what finds no room is counted, and a new stretch begins when there is room again."""
    monkeypatch.setattr(journals, "MOST_WAITING", 60_000)
    journal = Journal(str(tmp_path), KEEPS, log.make("json"))  # its thread is not begun: this test is the disk
    with trial_of(seed, tmp_path, journal) as trial:
        trial.connect()
        while not journal.lost:
            trial.step()
        before = len(trial.told)
        journal._save(str(tmp_path))
        for _ in range(40):  # a restart or a reload would begin a stretch of its own, which a replay may well enter
            trial.sensor_says()
            trial.time_passes()
            journal._save(str(tmp_path))
    journal._close()
    again = played(tmp_path, *trial.buildings)
    gap = next(step.entry for step in again if isinstance(step.entry, Stretch) and step.entry.why == "gap")
    assert gap.lost > 0
    exact = list(takewhile(lambda step: step.exact, again))
    assert again[len(exact)].entry == gap
    assert 0 < len(commanded(exact)) <= before
    assert commanded(exact) == trial.told[: len(commanded(exact))]


def test_a_replay_wants_the_config_of_the_time(tmp_path: Path) -> None:
    trial = live(0, tmp_path, steps=5)
    other = draw(Random(1))
    assert commanded(played(tmp_path, other, *trial.buildings)) == trial.told
    with pytest.raises(JournalError, match="from 2026-03-02 on the journal tells of another config"):
        played(tmp_path, other)


def test_a_replay_begins_with_a_stretch() -> None:
    with pytest.raises(JournalError, match="a replay begins with a stretch"):
        list(replay([Step("linked", Now(0, 0))]))
