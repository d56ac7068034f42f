"""Measure, and print each figure and its ratio to a bare client's work in the same run."""

from .measures import figures

if __name__ == "__main__":
    bare = 0.0
    for figure in figures():
        bare = bare or figure.microseconds
        print(f"{figure.microseconds:>12.1f} µs {figure.microseconds / bare:>9.2f} ×  {figure.name}")
