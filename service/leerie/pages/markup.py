"""HTML made of elements, never of text: what comes from outside can become nothing but text in it."""

from typing import TypeAlias
from xml.etree import ElementTree

from leerie.config.problems import printable

Node: TypeAlias = ElementTree.Element
Content: TypeAlias = Node | str | None
"""None: nothing."""


def element(tag: str, *content: Content, **attributes: object) -> Node:
    """An element. An attribute's `_` stands for `-`, one at its end for nothing (`class_`); None leaves it out."""
    made = ElementTree.Element(tag)
    for name, value in attributes.items():
        if value is not None:
            made.set(name.rstrip("_").replace("_", "-"), printable(str(value)))
    last: Node | None = None
    for part in content:
        if isinstance(part, str):
            text = printable(part)
            if last is None:
                made.text = (made.text or "") + text
            else:
                last.tail = (last.tail or "") + text
        elif part is not None:
            made.append(part)
            last = part
    return made


def breakable(name: str) -> list[Content]:
    """A name of the config, which may end a line at each of its underscores."""
    first, *others = name.split("_")
    parts: list[Content] = [first]
    for other in others:
        parts += ["_", element("wbr"), other]
    return parts


def verbatim(tag: str, text: str) -> Node:
    """A `style` element; browsers take what it holds as it stands. Only for text of our own."""
    made = ElementTree.Element(tag)
    made.text = text
    return made


def document(root: Node) -> bytes:
    """The whole page."""
    return f"<!doctype html>\n{ElementTree.tostring(root, 'unicode', method='html')}\n".encode()
