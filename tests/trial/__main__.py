"""`python -m tests.trial SEED [STEPS]` replays one trial and prints what it did; `FIRST-LAST [STEPS]` runs many, on
all processors, and prints what they came to.
"""

import hashlib
import sys
from collections import Counter
from functools import partial
from multiprocessing import Pool

from leerie.now import DAY_MS

from .trial import Trial

STEPS = 400
SUMMED = ("events", "restarts", "link losses", "clock steps", "reloads", "floods", "Commanded", "Moved")
YEAR_MS = 365.25 * DAY_MS


def one(seed: int, steps: int) -> None:
    trial = Trial(seed, say=print)
    trial.run(steps)
    told = hashlib.blake2b(repr((trial.folder, trial.lamps)).encode(), digest_size=16).hexdigest()
    print(f"records and lamps: {told}")
    print(f"seed {seed}: no violation; {trial.counts}")


def lived(seed: int, steps: int) -> tuple[int, Counter[str], str | None]:
    """Seed, what there was, and what was violated."""
    trial = Trial(seed)
    try:
        trial.run(steps)
    except Exception as failure:  # noqa: BLE001 - whatever it is, it is a violation
        return seed, trial.counts, f"{type(failure).__name__}: {failure}"
    return seed, trial.counts, None


def many(first: int, last: int, steps: int) -> int:
    total: Counter[str] = Counter()
    violations = 0
    with Pool() as pool:
        for seed, counts, violation in pool.imap_unordered(partial(lived, steps=steps), range(first, last + 1)):
            total += counts
            if violation is not None:
                violations += 1
                print(f"seed {seed}: {violation}; replay: python -m tests.trial {seed} {steps}", flush=True)
    print(f"{last - first + 1} seeds of {steps} steps: {violations} violations")
    print(", ".join(f"{total[name]:,} {name}" for name in SUMMED) + f", {total['room_ms'] / YEAR_MS:.1f} room-years")
    return int(violations > 0)


if __name__ == "__main__":
    steps = int(sys.argv[2]) if len(sys.argv) > 2 else STEPS
    first, dash, last = sys.argv[1].partition("-")
    if dash:
        sys.exit(many(int(first), int(last), steps))
    one(int(first), steps)
