"""The benchmark runs; how fast anything is, no test demands."""

import math

import pytest

from .measures import Figure, figures
from .wire import figures as figures_of_the_wire


def sound(found: list[Figure], least: int) -> bool:
    named = len({figure.name for figure in found}) == len(found) >= least
    return named and all(math.isfinite(figure.microseconds) and figure.microseconds > 0 for figure in found)


def test_each_measure_gives_a_figure() -> None:
    assert sound(list(figures(batches=1)), 10)


@pytest.mark.broker
def test_so_does_each_through_a_broker() -> None:
    assert sound(list(figures_of_the_wire(rounds=4)), 4)
