"""The look that all pages share: a workshop's day book, on paper by day and by lamplight in the dark."""

import base64
import hashlib
from importlib import resources

from leerie.tint import Rgb

Palette = dict[str, str]
"""A colour's name → sRGB as CSS writes it."""

DAY: Palette = {
    "paper": "#f5efe2",
    "leaf": "#fbf7ee",
    "ink": "#2a2118",
    "quiet": "#655744",
    "rule": "#d3c6ab",
    "iron": "#5b4f40",
    "link": "#7a3c00",
    "vacant": "#5f594f",
    "arriving": "#0d6170",
    "occupied": "#2c6727",
    "grace": "#7e5200",
    "hold": "#80327b",
    "fault": "#98211a",
    "alarm": "#8c1f18",
    "on-alarm": "#fff3e6",
}
NIGHT: Palette = {
    "paper": "#14151d",
    "leaf": "#1b1c26",
    "ink": "#eee5d3",
    "quiet": "#ada391",
    "rule": "#373744",
    "iron": "#938a7a",
    "link": "#f2b65f",
    "vacant": "#aba69c",
    "arriving": "#70d3df",
    "occupied": "#8cd483",
    "grace": "#f1c65c",
    "hold": "#e49bea",
    "fault": "#ff9d8c",
    "alarm": "#64180f",
    "on-alarm": "#ffe6d8",
}
ON_PAPER = ("ink", "quiet", "link", "vacant", "arriving", "occupied", "grace", "hold", "fault")
"""Text that stands on `paper` and on `leaf`; on `alarm` stands `on-alarm` alone."""


def rgb(css: str) -> Rgb:
    """A palette's colour, as numbers."""
    red, green, blue = bytes.fromhex(css.removeprefix("#"))
    return red, green, blue


def css(colour: Rgb) -> str:
    """A colour as CSS and SVG write it."""
    return "#" + bytes(colour).hex()


def _variables(palette: Palette) -> str:
    return " ".join(f"--{name}: {value};" for name, value in palette.items())


STYLE = (
    f":root {{ color-scheme: light dark; {_variables(DAY)} }}\n"
    f"@media (prefers-color-scheme: dark) {{ :root {{ {_variables(NIGHT)} }} }}\n"
    + resources.files(__package__).joinpath("look.css").read_text("utf-8")
)
ICON = (
    "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 32 42'><rect width='32' height='42' rx='6' fill='#14151d'/>"
    "<path d='M8 16h16l-3 19H11z' fill='#ffc46b'/><path d='M5 16 16 6l11 10z' fill='#938a7a'/></svg>"
)
"""A lit lantern, for the browser's tab."""

_HASH = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
HEADERS = {
    "Content-Security-Policy": f"default-src 'none'; style-src 'sha256-{_HASH}'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""What every page is sent with: its own style and icon are all that a browser may use."""
