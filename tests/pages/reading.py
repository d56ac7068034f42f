"""A page as a strict reader takes it apart: every element closed where it should be, nothing that could act."""

from html.parser import HTMLParser
from typing import Any

VOID = ("meta", "link", "wbr", "br", "hr", "img", "input")
"""Elements without an end (HTML Living Standard, 13.1.2)."""
ALLOWED = (
    *("html", "head", "meta", "title", "link", "style", "body", "header", "main", "footer", "section", "div"),
    *("h1", "h2", "h3", "p", "ul", "li", "table", "thead", "tbody", "tr", "th", "td"),
    *("a", "b", "strong", "span", "time", "wbr"),
    *("svg", "path", "rect", "circle", "text", "lineargradient", "radialgradient", "stop"),
)
"""All that pages are made of; none of it runs, sends or loads anything."""


class Read(HTMLParser):
    """Raises AssertionError where the page is not well formed."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, Any]]] = []
        self.texts: list[tuple[str, str]] = []
        """Innermost element and text."""
        self._open: list[str] = []
        self.feed(page.decode())
        self.close()
        assert self._open == [], self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in ALLOWED, tag
        assert len(dict(attrs)) == len(attrs), (tag, attrs)
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open, tag
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append((self._open[-1] if self._open else "", data))

    @property
    def words(self) -> str:
        """All that a person can read on it, without line ends."""
        return " ".join("".join(text for where, text in self.texts if where not in ("style", "title")).split())

    def all(self, tag: str) -> list[dict[str, Any]]:
        """The attributes of every such element."""
        return [attributes for name, attributes in self.elements if name == tag]

    def style(self) -> str:
        return "".join(text for where, text in self.texts if where == "style")
