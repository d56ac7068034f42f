"""Durations: text with units, whole milliseconds inside."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leerie.config.durations import LONGEST_MS, parse, render
from leerie.config.problems import NotAllowedError


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("90s", 90_000),
        ("10m", 600_000),
        ("1h30m", 5_400_000),
        ("2d", 172_800_000),
        ("0s", 0),
        ("0.4s", 400),
        ("1.5h", 5_400_000),
        ("1d2h3m4.005s", 93_784_005),
        ("0.001s", 1),
        ("3650d", LONGEST_MS),
    ],
)
def test_parse(text: str, ms: int) -> None:
    assert parse(text) == ms


@pytest.mark.parametrize(
    "text",
    ["", "10", "s", "-5s", "5 s", " 5s", "5s ", "5s\n", "1m1h", "1s1s", "5ms", "5S", "1e3s", "٣s", ".5s", "5.s", "+5s"],
)
def test_anything_else_is_no_duration(text: str) -> None:
    with pytest.raises(NotAllowedError, match="is no duration; a number with a unit such as 90s, 10m, 1h30m, 2d, 0s"):
        parse(text)


@pytest.mark.parametrize("value", [10, 1.5, True, None, [], {}])
def test_a_bare_number_is_no_duration(value: object) -> None:
    with pytest.raises(NotAllowedError, match="is no duration"):
        parse(value)


def test_too_long_or_too_fine() -> None:
    with pytest.raises(NotAllowedError, match="too long; at most 3650d"):
        parse("3651d")
    with pytest.raises(NotAllowedError, match="finer than a millisecond"):
        parse("0.0005s")


@given(st.integers(0, LONGEST_MS))
def test_rendered_durations_parse_to_themselves(ms: int) -> None:
    assert parse(render(ms)) == ms


@given(st.text(alphabet="0123456789.dhms -"))
def test_no_text_raises_anything_else(text: str) -> None:
    try:
        ms = parse(text)
    except NotAllowedError:
        return
    assert 0 <= ms <= LONGEST_MS


@pytest.mark.parametrize(
    ("ms", "text"), [(5_400_000, "1h30m"), (0, "0s"), (400, "0.4s"), (60_000, "1m"), (90_000, "1m30s")]
)
def test_render(ms: int, text: str) -> None:
    assert render(ms) == text
