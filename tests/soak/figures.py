"""What is measured of the daemon while it is under fire, and what is made of the samples."""

import os
import statistics
import urllib.request
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from prometheus_client.parser import text_string_to_metric_families

TICKS_A_SECOND = os.sysconf("SC_CLK_TCK")


class Sample(NamedTuple):
    at_s: float
    """Since the start of the fire."""
    rss_kib: int
    """Memory that is really there."""
    cpu_s: float
    """Of both kinds, since the process began."""


def sample(pid: int, at_s: float) -> Sample:
    """How large and how busy the process is (Linux, proc(5))."""
    status = Path(f"/proc/{pid}/status").read_text()
    rss = next(line for line in status.splitlines() if line.startswith("VmRSS:"))
    times = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return Sample(at_s, int(rss.split()[1]), (int(times[11]) + int(times[12])) / TICKS_A_SECOND)


def scrape(port: int) -> dict[str, float]:
    """Every counter and gauge, summed over its labels."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
        text = answer.read().decode()
    sums: dict[str, float] = {}
    for family in text_string_to_metric_families(text):
        for one in family.samples:
            sums[one.name] = sums.get(one.name, 0.0) + one.value
    return sums


def slope_kib_a_minute(samples: Sequence[Sample]) -> float:
    """By least squares; 0 where there are too few."""
    if len(samples) < 2:
        return 0.0
    return 60 * statistics.linear_regression([one.at_s for one in samples], [one.rss_kib for one in samples]).slope


def by_minute(samples: Sequence[Sample]) -> list[list[Sample]]:
    minutes = int(samples[-1].at_s // 60) + 1 if samples else 0
    return [part for n in range(minutes) if (part := [one for one in samples if one.at_s // 60 == n])]


def at_share(values: Sequence[float], share: float) -> float:
    """The value that this share of them does not exceed; NaN where there are none."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else float("nan")
