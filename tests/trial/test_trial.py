"""Trials of many seeds. A seed that fails replays with `python -m tests.trial SEED`."""

import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import coverage
import pytest

import leerie
from leerie.occupancy.table import Event

from .trial import Trial

ROOT = Path(__file__).parents[2]
SEEDS = 86
BUDGET = {"events": 1_000_000, "restarts": 2_000, "link losses": 2_000, "clock steps": 500, "reloads": 500}
"""What they come to at least, all together."""
LOOKED_AT = 12
"""So many seeds are looked at line by line, which takes its time."""
EXPECTED = (
    *(
        "link losses",
        "restarts",
        "clock steps",
        "clock found right",
        "reloads",
        "nonsense",
        "floods",
        "broker forgets",
    ),
    *("overtaken", "Refused", "Moved", "FalseOff", "told off at a parting"),
    *(f"fault in a {spot}" for spot in ("warning", "paced burst", "blend", "hold", "settle")),
    *("HoldBegun", "HoldEnded", "Commanded", "Coalesced", "Undelivered", "Faulted", "Recovered"),
    # A day part's beginning moves nobody, and blindness with `last` only who is arriving at that very moment.
    *(f"moved by {event}" for event in Event if event not in (Event.PART_BEGINS, Event.BLIND_LAST)),
    *("sensor_out", "sensor_stuck", "battery_low", "room_blind", "event_retained", "message_refused", "hold_forgotten"),
    *("enclosed", "part working", "part dusk", "part evening", "part night"),
    *("the last part stands in", "the brightest part stands in"),
    *("moving", "blending", "unfinished blends", "Rested", "PutOut", "Blended", "Maintains", "Coloured", "by meter"),
)


@pytest.mark.trial
def test_no_fault_breaks_an_invariant_and_peace_settles_everything() -> None:
    """Whatever the broker, the sensors, the clock and the power do."""
    command = [sys.executable, "-m", "tests.trial", f"0-{SEEDS - 1}"]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    print(run.stdout)  # noqa: T201 - what there was stands in the output of who asks for it with -s
    counts = {name: int(number.replace(",", "")) for number, name in re.findall(r"([\d,]+) ([a-z ]+),", run.stdout)}
    assert not {name: counts[name] for name, least in BUDGET.items() if counts[name] < least}


@pytest.mark.trial
def test_the_trials_reach_what_they_are_for() -> None:
    """Faults that are never drawn prove nothing, nor do branches that are never walked."""
    marks = branches()
    measured = coverage.Coverage(data_file=None, include=[str(path) for path in marks], config_file=False)
    trials = [Trial(seed) for seed in range(LOOKED_AT)]
    measured.start()
    try:
        for trial in trials:
            trial.run(400)
    finally:
        measured.stop()
    counts: Counter[str] = sum((trial.counts for trial in trials), Counter())
    assert not [name for name in EXPECTED if not counts[name]], counts
    walked = {path: set(measured.get_data().lines(str(path)) or ()) for path in marks}
    assert not [name for path, lines in marks.items() for line, name in lines.items() if line not in walked[path]]


def branches() -> dict[Path, dict[int, str]]:
    """The branches that matter, marked in the code with `# trial: NAME`: file → line → name."""
    found: dict[Path, dict[int, str]] = {}
    for path in sorted(Path(leerie.__file__).parent.rglob("*.py")):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if match := re.search(r"  # trial: (.+)$", line):
                found.setdefault(path, {})[number] = match[1]
    return found


def test_each_marked_branch_has_a_name_of_its_own() -> None:
    names = [name for lines in branches().values() for name in lines.values()]
    assert len(names) == len(set(names)) > 20


@pytest.mark.trial
@pytest.mark.parametrize("seed", [7, 11])
def test_a_seed_is_the_whole_of_a_trial(seed: int) -> None:
    """The same seed does the same to the byte, whatever Python's own hashes are and wherever the machine stands."""

    def story(hashes: str, zone: str) -> str:
        environ = {**os.environ, "PYTHONHASHSEED": hashes, "TZ": zone}
        command = [sys.executable, "-m", "tests.trial", str(seed), "150"]
        return subprocess.run(command, cwd=ROOT, env=environ, capture_output=True, text=True, check=True).stdout

    here = story("1", "UTC")
    assert "no violation" in here
    assert story("2", "Pacific/Chatham") == here
