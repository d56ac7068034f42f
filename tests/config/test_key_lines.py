"""The line of each key, however it is written."""

import tomllib

import pytest

from leerie.config.lines import Lines

TEXT = b"""top = 1
[rooms.shop]
grace = "5m"
"quo\\u0074ed key" = 1
during.day.grace = "1m"
during.night = { grace = "2m", keep = ["a",
    "b"] }
[rooms.flat]
grace = "6m"   # the same key in another table
scenes = { day = { lamp = 1 } }
list = [
    # a comment is no element
    1,

    [2, 3],
    { at = "x",  days = [
        "mon" ] },
]
text = \"\"\"
[not.a.table]
\"\"\"
after = 1
[[wires]]
topic = 1
[wires.deep]
key = 1
[[wires]]
topic = 2
[wires.deep]
key = 2
[rooms.flat.during.night]
grace = "7m"
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 1),
        (("rooms",), 2),
        (("rooms", "shop"), 2),
        (("rooms", "shop", "grace"), 3),
        (("rooms", "shop", "quoted key"), 4),
        (("rooms", "shop", "during"), 5),
        (("rooms", "shop", "during", "day", "grace"), 5),
        (("rooms", "shop", "during", "night", "grace"), 6),
        (("rooms", "shop", "during", "night", "keep", 1), 7),
        (("rooms", "flat", "grace"), 9),
        (("rooms", "flat", "scenes", "day", "lamp"), 10),
        (("rooms", "flat", "list"), 11),
        (("rooms", "flat", "list", 0), 13),
        (("rooms", "flat", "list", 1, 1), 15),
        (("rooms", "flat", "list", 2, "at"), 16),
        (("rooms", "flat", "list", 2, "days", 0), 17),
        (("rooms", "flat", "after"), 22),
        (("wires", 0, "topic"), 24),
        (("wires", 0, "deep", "key"), 26),
        (("wires", 1), 27),
        (("wires", 1, "topic"), 28),
        (("wires", 1, "deep", "key"), 30),
        (("rooms", "flat", "during", "night", "grace"), 32),
    ],
)
def test_line(path: tuple[str | int, ...], line: int) -> None:
    tomllib.loads(TEXT.decode())
    assert Lines(TEXT).of(path) == line


def test_what_is_not_there_stands_at_the_table_it_is_missing_in() -> None:
    lines = Lines(TEXT)
    assert lines.of(("rooms", "shop", "scenes", "day")) == 2
    assert lines.of(("rooms", "flat", "scenes", "day", "other")) == 10
    assert lines.of(("site", "latitude")) == 1


def test_keys_and_tables_given_twice_are_known() -> None:
    assert Lines(b"a = 1\n[b]\nc = 1\nc = 2\n[b]\n").twice == [(("b", "c"), 3, 4), (("b",), 2, 5)]
    assert Lines(TEXT).twice == []
