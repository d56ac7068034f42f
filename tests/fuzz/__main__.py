"""`python -m tests.fuzz TARGET [SECONDS]` looks for inputs that break a target; `… TARGET FILE` runs one of them again.

Guided by the branches that an input reaches: wants the extra `fuzz`. What reaches new ones is kept in .fuzz/TARGET, and
the next run goes on from there; a find is .fuzz/TARGET-crash-….
"""

import sys
from pathlib import Path
from random import Random

USAGE = "usage: python -m tests.fuzz TARGET [SECONDS|FILE]"
FOLDER = Path(".fuzz")
SEEDS = 150
MOST_BYTES = 4_096
MOST_SECONDS = 20
"""An input that takes longer is a find."""


def fuzz(name: str, seconds: int) -> None:
    import atheris  # noqa: PLC0415 - a replay can do without

    with atheris.instrument_imports(include=["leerie", "metar"]):
        from .targets import TARGETS  # noqa: PLC0415 - what is imported here is watched

    corpus = FOLDER / name
    corpus.mkdir(parents=True, exist_ok=True)
    for seed in range(SEEDS):
        (corpus / f"seed-{seed}").write_bytes(Random(seed).randbytes(4 + seed))
    limits = (f"-max_total_time={seconds}", f"-timeout={MOST_SECONDS}", f"-max_len={MOST_BYTES}", "-len_control=0")
    atheris.Setup([sys.argv[0], str(corpus), f"-artifact_prefix={FOLDER}/{name}-", *limits], TARGETS[name])
    atheris.Fuzz()


def again(name: str, file: str) -> None:
    from .targets import TARGETS  # noqa: PLC0415 - not before somebody else may watch it

    TARGETS[name](Path(file).read_bytes())


if __name__ == "__main__":
    match sys.argv[1:]:
        case [name]:
            fuzz(name, 60)
        case [name, seconds] if seconds.isdigit():
            fuzz(name, int(seconds))
        case [name, file]:
            again(name, file)
        case _:
            sys.exit(USAGE)
