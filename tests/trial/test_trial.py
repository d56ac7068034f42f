"""Trials of many seeds. A seed that fails replays with `python -m tests.trial SEED`."""

import pytest

from leerie.occupancy.table import Event

from .trial import Trial

SEEDS = range(40)
EXPECTED = (
    *(
        "connection_lost",
        "restart",
        "clock_steps",
        "nonsense",
        "broker_lets_go",
        "clock found right",
        "Refused",
        "Moved",
        "FalseOff",
    ),
    *("HoldBegun", "HoldEnded", "Commanded", "Coalesced", "Undelivered", "Faulted", "Recovered"),
    # A day part's beginning moves nobody, and blindness with `last` only who is arriving at that very moment.
    *(f"moved by {event}" for event in Event if event not in (Event.PART_BEGINS, Event.BLIND_LAST)),
    *("sensor_out", "sensor_stuck", "battery_low", "room_blind", "event_retained", "message_refused", "hold_forgotten"),
    *("enclosed", "part working", "part dusk", "part evening", "part night"),
    *("the last part stands in", "the brightest part stands in"),
    *("moving", "blending", "unfinished blends", "Rested", "PutOut", "Blended", "Maintains", "Coloured", "by meter"),
)


@pytest.mark.trial
@pytest.mark.parametrize("seed", SEEDS)
def test_no_fault_breaks_an_invariant_and_peace_settles_everything(seed: int) -> None:
    """Whatever the broker, the sensors, the clock and the power do."""
    try:
        Trial(seed).run(400)
    except Exception as failure:
        failure.add_note(f"replay: python -m tests.trial {seed}")
        raise


@pytest.mark.trial
def test_the_trials_reach_what_they_are_for() -> None:
    """Faults that are never drawn prove nothing."""
    trials = [Trial(seed) for seed in range(16)]
    for trial in trials:
        trial.run(400)
    reached = {name: sum(trial.counts[name] for trial in trials) for name in EXPECTED}
    assert not [name for name, times in reached.items() if not times], reached


@pytest.mark.trial
def test_a_seed_is_the_whole_of_a_trial() -> None:
    """The same seed does the same to the byte."""

    def story(seed: int) -> tuple[list[str], dict[str, bytes], dict[str, bytes]]:
        lines: list[str] = []
        trial = Trial(seed, lines.append)
        trial.run(200)
        return lines, trial.folder, trial.lamps

    assert story(7) == story(7)
