"""The demo in lines: one for each change, none for what only drifts."""

from typing import Any

import pytest

from leerie.cli.demo.lines import Lines
from leerie.cli.demo.stage import Stage
from leerie.config.building import Building
from leerie.runtime.clock import Clock

EIGHT_OCLOCK = 1_768_204_800_000_000
"""2026-01-12 08:00 UTC, a Monday; Glasgow's clocks read the same."""


@pytest.fixture
def stage(example: Building) -> Stage:
    stage = Stage(example, Clock(0.0001, EIGHT_OCLOCK), seed=1)
    stage.heard = Lines(stage).heard
    return stage


def _tell(stage: Stage, **changes: Any) -> None:
    lamps = {"bench": {"on": True, "level": 0.5, "kelvin": 3000}, "spot": {"on": False, "level": 0, "kelvin": None}}
    state = {"state": "occupied", "fixtures": lamps, "because": ["workshop_pir moved"], "faults": [], **changes}
    stage.rooms["workshop"] = state
    assert stage.heard is not None
    stage.heard("workshop")


def test_a_change_is_a_line(stage: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    _tell(stage)
    assert capsys.readouterr().out == (
        "Mon 08:00:00  workshop      occupied  bench 0.50 3000 K, spot off  (workshop_pir moved)\n"
    )


def test_the_same_again_is_none(stage: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    for _ in range(3):
        _tell(stage)
    assert len(capsys.readouterr().out.splitlines()) == 1


@pytest.mark.parametrize(("levels", "lines"), [((0.52,), 1), ((0.56,), 2), ((0.0,), 2), ((0.52, 0.54, 0.56), 2)])
def test_small_drift_is_none_until_it_adds_up(
    stage: Stage, capsys: pytest.CaptureFixture[str], levels: tuple[float, ...], lines: int
) -> None:
    _tell(stage)
    for level in levels:
        bench = {"on": level > 0, "level": level, "kelvin": 3000}
        _tell(stage, fixtures={"bench": bench, "spot": {"on": False, "level": 0, "kelvin": None}})
    assert len(capsys.readouterr().out.splitlines()) == lines


def test_a_hold_without_level_claims_none(stage: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    _tell(stage, state="hold", fixtures=None)
    assert "hold      hands off" in capsys.readouterr().out


def test_a_lamp_not_yet_told_is_unknown(stage: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    _tell(stage, fixtures={"bench": None, "spot": None})
    assert "bench ?, spot ?" in capsys.readouterr().out
