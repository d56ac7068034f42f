"""`python -m tests.trial SEED [STEPS]` replays one trial and prints what it did."""

import hashlib
import sys

from .trial import Trial

if __name__ == "__main__":
    trial = Trial(int(sys.argv[1]), say=print)
    trial.run(int(sys.argv[2]) if len(sys.argv) > 2 else 400)
    told = hashlib.blake2b(repr((trial.folder, trial.lamps)).encode(), digest_size=16).hexdigest()
    print(f"records and lamps: {told}")
    print(f"seed {sys.argv[1]}: no violation; {trial.counts}")
