"""`python -m tests.kills [TIMES] [SEED]`: kill the daemon so often (200), spread over three ways of keeping records."""

import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))  # where pytest finds what tests share

from .lives import MODES, Lives

if __name__ == "__main__":
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    os.environ["LEERIE_SERVICE__TRUST_CLOCK_AFTER"] = "0s"  # a machine just started does not yet believe its clock
    violations: list[str] = []
    moments: Counter[str] = Counter()
    began = time.monotonic()
    for place, mode in enumerate(MODES):
        with tempfile.TemporaryDirectory() as folder:
            lives = Lives(Path(folder), mode, Random(seed * 10 + place))
            lives.run(times * (place + 1) // 3 - times * place // 3)
        ledger = lives.ledger
        moments += lives.moments
        violations += ledger.violations
        print(
            f"{mode}: {lives.moments.total()} kills, longest until settled {lives.longest_s:.1f} s, "
            f"{ledger.commands} commands; {ledger.ends} holds and graces ended by themselves, as announced; "
            f"{ledger.unwritten} moves younger than a second lost; {len(ledger.violations)} violations",
            *ledger.violations,
            sep="\n    ",
            flush=True,
        )
    print("killed after:", ", ".join(f"{moment} {count}" for moment, count in moments.most_common()))
    print(f"seed {seed}: {moments.total()} kills in {time.monotonic() - began:.0f} s, {len(violations)} violations")
    sys.exit(bool(violations))
