"""The picture of the demo: what the script draws, whole in itself."""

from xml.etree import ElementTree

import write_picture

KB = 1024


def test_the_picture_is_the_one_that_the_script_draws() -> None:
    """It is made of invented time and of nothing that the machine or the terminal's library decides."""
    assert write_picture.PICTURE.read_text(encoding="utf-8") == write_picture.picture(), "run tests/write_picture.py"


def test_the_picture_stands_alone() -> None:
    text = write_picture.PICTURE.read_text(encoding="utf-8")
    assert len(text.encode()) < 300 * KB
    assert "url(" not in text
    assert "href" not in text
    root = ElementTree.fromstring(text)  # noqa: S314 -- our own file
    assert root.findtext("{http://www.w3.org/2000/svg}title") == "leerie demo"
