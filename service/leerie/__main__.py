"""`python -m leerie` is `leerie`."""

from leerie.cli.main import run

if __name__ == "__main__":  # a process that the demo starts imports this module too
    run()
