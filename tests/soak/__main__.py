"""`python -m tests.soak [MINUTES] [MESSAGES_A_SECOND] [SEED]`: 20 minutes of 500 a second unless told otherwise."""

import os
import sys
import tempfile
from functools import partial
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))  # where pytest finds what tests share

from .soak import Soak

SHOWN = 20
"""Of what is amiss at the end; the first will do to begin with."""

if __name__ == "__main__":
    minutes, a_second, seed = (*(float(word) for word in sys.argv[1:4]), *(20.0, 500.0, 1.0)[len(sys.argv) - 1 :])
    os.environ["LEERIE_SERVICE__TRUST_CLOCK_AFTER"] = "0s"  # a machine just started does not yet believe its clock
    with tempfile.TemporaryDirectory() as folder:
        soak = Soak(Path(folder), Random(int(seed)), partial(print, flush=True))
        soak.run(minutes * 60, a_second)
    sys.exit("\n".join(soak.wrong[:SHOWN]) or 0)
