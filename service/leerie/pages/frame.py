"""The frame of every page: head, and foot with the way to what else there is."""

from urllib.parse import quote

from leerie import __version__
from leerie.pages import look
from leerie.pages.markup import Content, document, element, verbatim

ELSEWHERE = (("metrics", "metrics"), ("healthz", "is it alive?"), ("readyz", "is it ready?"))
"""Relative, so that a proxy can put the page anywhere."""


def page(title: str, header: Content, *main: Content, foot: Content = None, every_s: int | None = None) -> bytes:
    """A whole page. `foot`: what this one says at its end; `every_s`: it is read anew so often."""
    again = None if every_s is None else element("meta", http_equiv="refresh", content=every_s)
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        again,
        element("title", title),
        element("link", rel="icon", href=f"data:image/svg+xml,{quote(look.ICON)}"),
        verbatim("style", look.STYLE),
    )
    body = element("body", header, element("main", *main), _foot(foot, every_s))
    return document(element("html", head, body, lang="en"))


def _foot(own: Content, every_s: int | None) -> Content:
    links = element("p", *(element("a", words, href=path) for path, words in ELSEWHERE))
    anew = "" if every_s is None else f", which reads itself anew every {every_s} s"
    return element(
        "footer",
        own,
        links,
        element("p", f"leerie {__version__}. Nothing can be changed on this page{anew}."),
        element("p", "Not for emergency or escape lighting."),
    )
