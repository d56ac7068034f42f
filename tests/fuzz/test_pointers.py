"""JSON pointers, from how the config spells them to what they find."""

import pytest

from leerie.config.compile import _pointer
from leerie.intake.payloads import scalar
from leerie.intake.refusal import Refusal

RFC = rb"""
{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}
"""


@pytest.mark.parametrize(
    ("pointer", "found"),
    [
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        (r"/i\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_standards_own_examples(pointer: str, found: object) -> None:
    """RFC 6901 (2013), section 5."""
    assert scalar(RFC, _pointer(pointer)) == found


@pytest.mark.parametrize("pointer", ["", "/foo"])
def test_what_holds_others_is_no_value(pointer: str) -> None:
    with pytest.raises(Refusal) as refusal:
        scalar(RFC, _pointer(pointer))
    assert refusal.value.reason == "wrong_type"


@pytest.mark.parametrize(
    "pointer",
    ["/foo/00", "/foo/01", "/foo/-", "/foo/-1", "/foo/1e0", "/foo/\u0661", "/foo/" + "9" * 400, "/foo/0/0", "/bar"],
)
def test_an_index_is_spelt_in_one_way_and_stands_in_the_list(pointer: str) -> None:
    """RFC 6901 (2013), section 4: no leading zeros, ASCII digits; `-` is after the last and never there."""
    with pytest.raises(Refusal) as refusal:
        scalar(RFC, _pointer(pointer))
    assert refusal.value.reason == "no_value"
