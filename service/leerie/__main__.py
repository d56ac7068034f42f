"""`python -m leerie` is `leerie`."""

from leerie.cli.main import run

run()
