"""Trials: the real controller on an invented broker, clock and building, all drawn from one seed and all hostile."""
