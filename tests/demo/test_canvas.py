"""A canvas stays as large as it is, whatever is put on it, and every character on it is where it was put."""

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from leerie.cli.demo import palette
from leerie.cli.demo.canvas import Box, Canvas, cut, wrapped

RED, BLUE = (200, 0, 0), (0, 0, 200)
PLACES = st.integers(-5, 25)


def _text(canvas: Canvas) -> list[str]:
    return "".join(segment.text for segment in canvas.segments()).split("\n")


@given(st.lists(st.tuples(PLACES, PLACES, st.text(max_size=30)), max_size=6), st.integers(1, 20), st.integers(1, 6))
def test_it_never_grows(puts: list[tuple[int, int, str]], width: int, height: int) -> None:
    canvas = Canvas(width, height)
    for x, y, text in puts:
        canvas.fill(Box(x, y, 7, 3), RED)
        canvas.put(x, y, text)
    lines = _text(canvas)
    assert len(lines) == height
    assert all(cell_len(line) <= width for line in lines)


def test_text_is_cut_with_an_ellipsis() -> None:
    canvas = Canvas(10, 1)
    assert canvas.put(1, 0, "workshop and shop", room=6) == 7
    assert _text(canvas) == [" works…   "]


def test_a_wide_character_takes_two_cells() -> None:
    canvas = Canvas(6, 1)
    canvas.put(0, 0, "工房工房")
    assert _text(canvas) == ["工房… "]
    assert cut("工房", 3) == "工…"


def test_half_a_wide_character_is_none() -> None:
    """What is written over one half of it takes the other along."""
    canvas = Canvas(4, 1)
    canvas.put(0, 0, "工房")
    canvas.put(1, 0, "x")
    assert cell_len(_text(canvas)[0]) == 4
    assert _text(canvas) == [" x房"]


def test_what_is_no_character_of_its_own_is_spelt_out_or_composed() -> None:
    assert cut("a\tb", 10) == "a\\tb"
    assert cut("cafe\N{COMBINING ACUTE ACCENT}", 10) == "café"


def test_text_leaves_the_ground_and_a_fill_leaves_no_text() -> None:
    canvas = Canvas(3, 1)
    canvas.fill(Box(0, 0, 3, 1), RED)
    canvas.put(0, 0, "abc", BLUE)
    assert [(cell.ink, cell.ground) for cell in canvas.lines[0]] == [(BLUE, RED)] * 3
    canvas.fill(Box(1, 0, 1, 1), BLUE)
    assert _text(canvas) == ["a c"]


def test_an_ink_can_go_by_the_ground_behind_it() -> None:
    canvas = Canvas(2, 1)
    canvas.fill(Box(0, 0, 1, 1), RED)
    canvas.fill(Box(1, 0, 1, 1), BLUE)
    canvas.put(0, 0, "ab", lambda ground: (ground[2], 0, 0))
    assert [cell.ink for cell in canvas.lines[0]] == [(0, 0, 0), (200, 0, 0)]


def test_without_colours_there_are_none() -> None:
    canvas = Canvas(4, 1, palette.none)
    canvas.label(0, 0, "ab", RED)
    canvas.put(2, 0, "cd", BLUE)
    assert all(segment.style is None or segment.style.color is None for segment in canvas.segments())
    assert all(cell.ground is None and cell.ink is None for cell in canvas.lines[0])


@given(st.lists(st.text("abcdefg工", min_size=1, max_size=9), max_size=12), st.integers(2, 20), st.integers(1, 5))
def test_folded_text_fits_and_loses_nothing_unless_it_says_so(words: list[str], columns: int, most: int) -> None:
    folded = wrapped(" ".join(words), columns, most)
    assert len(folded) <= most
    assert all(cell_len(line) <= columns for line in folded)
    if not any("…" in line for line in folded):
        assert " ".join(folded).split() == words
