"""Measure, and print each figure and its ratio to a bare client's work in the same run."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # where pytest finds what tests share

from . import measures, wire

if __name__ == "__main__":
    for run in (measures.figures, wire.figures):
        bare = 0.0
        for figure in run():
            bare = bare or figure.microseconds
            print(f"{figure.microseconds:>12.1f} µs {figure.microseconds / bare:>9.2f} ×  {figure.name}")
