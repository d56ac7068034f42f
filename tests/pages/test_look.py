"""The look that pages share: it can be read by day and in the dark, and a browser may use nothing but it."""

import base64
import hashlib
import importlib
import re
import warnings

import numpy as np
import pytest

from leerie.pages import frame
from leerie.pages.look import DAY, HEADERS, NIGHT, ON_PAPER, Palette, rgb
from pages.reading import Read

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns on import of plotting libraries that are not there
    colour_science = importlib.import_module("colour")

TEXT, DRAWING = 4.5, 3.0
"""WCAG 2.2, level AA: success criteria 1.4.3 (text) and 1.4.11 (what is drawn)."""
PALETTES = {"day": DAY, "night": NIGHT}
PAIRS = [
    *((name, ground, TEXT) for name in ON_PAPER for ground in ("paper", "leaf")),
    ("on-alarm", "alarm", TEXT),
    ("iron", "paper", DRAWING),
]


def contrast(first: str, second: str) -> float:
    """WCAG 2.2's contrast ratio, of luminances by colour-science 0.4.7 (sRGB_to_XYZ, IEC 61966-2-1:1999)."""
    dark, light = sorted(float(colour_science.sRGB_to_XYZ(np.array(rgb(css)) / 255)[1]) for css in (first, second))
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_reckoned_here_is_the_criterions() -> None:
    """Black on white is 21 : 1, and #777777 on white just fails (WCAG 2.2, understanding 1.4.3)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21, abs=0.01)
    assert contrast("#777777", "#ffffff") < TEXT < contrast("#767676", "#ffffff")


@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
@pytest.mark.parametrize(("name", "ground", "least"), PAIRS)
def test_text_and_drawings_stand_out_from_their_ground(palette: Palette, name: str, ground: str, least: float) -> None:
    assert contrast(palette[name], palette[ground]) >= least


def test_every_colour_has_a_name_and_every_name_a_colour() -> None:
    style = Read(frame.page("t", None)).style()
    used = set(re.findall(r"var\(--([a-z-]+)\)", style))
    assert used == set(DAY) == set(NIGHT)
    rules = style.split("look.py", 1)[1]
    assert re.findall(r"#[0-9a-f]{3,8}\b|\brgba?\(", rules) == []
    assert set(ON_PAPER) <= used


def test_text_has_no_colour_that_is_not_checked() -> None:
    coloured = set(re.findall(r"(?<![a-z-])color: var\(--([a-z-]+)\)", Read(frame.page("t", None)).style()))
    assert coloured == {*ON_PAPER, "on-alarm"}


def test_a_browser_may_use_this_style_and_no_other() -> None:
    """CSP 3: a hash source is that of the style element's text."""
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
    digest = base64.b64encode(hashlib.sha256(Read(frame.page("t", None)).style().encode()).digest()).decode()
    assert policy.pop("style-src") == f"'sha256-{digest}'"
    assert policy.pop("img-src") == "data:"
    assert set(policy.values()) == {"'none'"}
    assert {"default-src", "base-uri", "form-action", "frame-ancestors"} <= set(policy)


def test_the_style_loads_nothing() -> None:
    style = Read(frame.page("t", None)).style()
    assert "url(" not in style
    assert "@import" not in style


def test_a_page_has_a_language_and_fits_a_phone() -> None:
    read = Read(frame.page("Title & more", None, every_s=7))
    assert read.all("html") == [{"lang": "en"}]
    assert {"name": "viewport", "content": "width=device-width, initial-scale=1"} in read.all("meta")
    assert {"http-equiv": "refresh", "content": "7"} in read.all("meta")
    assert ("title", "Title & more") in read.texts
    assert "Not for emergency or escape lighting." in read.words


def test_only_what_reads_itself_anew_says_so() -> None:
    read = Read(frame.page("t", None))
    assert not [meta for meta in read.all("meta") if "http-equiv" in meta]
    assert "anew" not in read.words
