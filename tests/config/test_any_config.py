"""No input raises anything but ConfigError, and whatever is said is one line a problem."""

import tempfile
from collections.abc import Mapping
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from leerie.config import ConfigError, Problem, load

EXAMPLE = (Path(__file__).parents[2] / "config.example.toml").read_text()
LINES = EXAMPLE.splitlines()
KEYS = [number for number, line in enumerate(LINES) if "=" in line and not line.startswith("#")]

VALUES = st.sampled_from(
    ["0", "-1", "1.5", "true", "''", "'x'", "'5m'", "[]", "{}", "[[]]", "[1, 2]", "{ a = 1 }", "nan", "-inf", "1e400",
     "2026-01-01", "08:30:00", "2026-01-01T00:00:00Z", "'\\u0000'", '"\\u0000"', '"\\u202e"', "9" * 60,
     "0x" + "f" * 9000, "'+'", "'#'", "'/'", "'$x'", "'$$'", "'vacant'", "{ level = 1 }", "{ follow = [1, 0] }",
     "[{ at = 'noon' }]", "{ lux = 300 }",
     "{ level = 1, kelvin = { sun = [2700, 5000] } }", "{ lux = 1, xy = [0.3, 0.3] }",
     "{ topic = 'lux', daylight = 1e-300 }", "1e-300"]
)  # fmt: skip


def said(content: bytes, environ: Mapping[str, str]) -> tuple[Problem, ...]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "leerie.toml"
        path.write_bytes(content)
        try:
            load(path, environ)
        except ConfigError as refusal:
            return refusal.problems or (Problem("a refusal without a reason", 0, "", "", ""),)
        return ()


def is_clear(content: bytes, environ: Mapping[str, str]) -> None:
    for problem in said(content, environ):
        assert str(problem).isprintable()
        assert problem.line is None or 1 <= problem.line <= content.count(b"\n") + 1


@given(st.binary(max_size=200))
@settings(deadline=None)
def test_any_bytes(content: bytes) -> None:
    is_clear(content, {})


@given(st.dictionaries(st.sampled_from(KEYS), VALUES, min_size=1, max_size=4))
@settings(max_examples=300, deadline=None)
def test_any_value_at_any_key(changes: dict[int, str]) -> None:
    lines = list(LINES)
    for number, value in changes.items():
        lines[number] = f"{lines[number].split('=')[0]}= {value}"
    is_clear("\n".join(lines).encode(), {})


@given(st.lists(st.sampled_from(LINES), max_size=30).map("\n".join))
@settings(max_examples=200, deadline=None)
def test_any_shuffle_of_lines(text: str) -> None:
    is_clear(text.encode(), {})


@given(
    st.dictionaries(
        st.lists(
            st.sampled_from(
                ["site", "rooms", "workshop", "scenes", "day", "bench", "grace", "", "broker", "a", "0", "é"]
            ),
            max_size=5,
        ).map(lambda parts: "LEERIE_" + "__".join(parts).upper()),
        st.one_of(
            st.sampled_from(['{"a": 1}', "[[]]", "5m", "null", "[" * 2000, '"\\ud800"', "\udcff", "1e999"]), st.text()
        ),
        max_size=4,
    )
)
@settings(max_examples=300, deadline=None)
def test_any_environment(environ: dict[str, str]) -> None:
    is_clear(EXAMPLE.encode(), environ)


@given(st.dictionaries(st.text().filter(lambda name: not name.upper().startswith("LEERIE_")), st.text()))
@settings(deadline=None)
def test_a_sound_file_stays_sound_whatever_else_is_in_the_environment(environ: dict[str, str]) -> None:
    assert said(EXAMPLE.encode(), environ) == ()
