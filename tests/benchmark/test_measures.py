"""The benchmark runs; how fast anything is, no test demands."""

import math

from .measures import figures


def test_each_measure_gives_a_figure() -> None:
    found = list(figures(batches=1))
    assert len({figure.name for figure in found}) == len(found) >= 10
    assert all(math.isfinite(figure.microseconds) and figure.microseconds > 0 for figure in found)
