"""What is drawn: a lantern for each lamp, the house with a window for each room, the sky above it.

Colours stand in attributes and not in styles, so that a page's style is the same for every house.
"""

import math
from collections.abc import Sequence
from typing import Literal, TypeAlias

from leerie import tint
from leerie.config.building import Fixture
from leerie.pages.look import css
from leerie.pages.markup import Content, Node, element
from leerie.tint import Rgb
from leerie.views import LampView, SkyView

Window: TypeAlias = Rgb | Literal["dark", "unknown"]
"""The light in it, if it is known."""
GLASS: Rgb = (38, 41, 56)
SUN = "#fff2c4"
UNKNOWN: Rgb = (84, 86, 98)
"""A sky of which nothing is known."""
HIGHEST = 60
"""Degrees above the horizon that still find room in the picture."""
HIGH, GROUND = 136, 128
"""px: of the picture, and from its top to the ground."""
WALL_WIDE, WALL_HIGH = 150, 74
PANE = "M7 16h18l-3.4 20H10.4z"
"""A lantern's glass."""
PLAIN_WHITE = 3_000
"""K of a lamp of which no white is known."""


def hue(lamp: LampView, fixture: Fixture | None) -> Rgb:
    """A lamp's colour as it was told it, or else as it is made."""
    if lamp.xy is not None:
        return tint.of_colour(*lamp.xy)
    made = fixture.kelvin[0] if fixture is not None and fixture.kelvin is not None else PLAIN_WHITE
    return tint.of_white(lamp.kelvin or made)


def lantern(lamp: LampView | None, fixture: Fixture | None, words: str, number: int) -> Node:
    """One lamp. None: not known how it shines. `words`: what it says to who cannot see it; `number`: its own."""
    inside: list[Content]
    if lamp is None:
        inside = [element("path", class_="iron unknown", d=PANE), element("text", "?", x=16, y=31)]
    elif not lamp.on:
        inside = [element("path", class_="iron", d=PANE)]
    else:
        inside = _burning(hue(lamp, fixture), lamp.level, f"glow-{number}")
    cap = element("path", class_="iron cap", d="M5 16 16 6l11 10z")
    foot = element("path", class_="iron", d="M10 38.5h12M16 6V3.5")
    return element("svg", *inside, cap, foot, class_="lantern", viewBox="0 0 32 42", role="img", aria_label=words)


def _burning(shine: Rgb, level: float, name: str) -> list[Content]:
    """A flame in the lamp's colour, as high as the level, in dark glass, and a halo that grows with it."""
    halo = element("circle", cx=16, cy=26, r=f"{8 + 8 * level:.1f}", fill=f"url(#{name})", fill_opacity=f"{level:.2f}")
    glass = element("path", d=PANE, fill=css(tint.mix(GLASS, shine, 0.1 + 0.5 * level)))
    wide, high = 2.2 + 4.6 * level, 4 + 15 * level
    side = f"{wide:.1f} {-0.3 * high:.1f} {wide:.1f} {-0.55 * high:.1f} 0 {-high:.1f}"
    back = f"{-wide:.1f} {0.45 * high:.1f} {-wide:.1f} {0.7 * high:.1f} 0 {high:.1f}"
    flame = element("path", d=f"M16 35.5c{side}c{back}z", fill=css(shine))
    return [_fading(shine, name), halo, glass, flame, element("path", class_="iron", d=PANE)]


def sky(seen: SkyView | None, latitude: float) -> Node:
    """The sky as it is now, from the horizon up, over the ground; grey where it is not known."""
    heights = (1.0, 0.5, 0.2, 0.0)
    colours = [UNKNOWN if seen is None else tint.sky(seen.elevation, height, seen.cloud or 0.0) for height in heights]
    stops = (
        element("stop", offset=f"{1 - height:.1f}", stop_color=css(colour))
        for height, colour in zip(heights, colours, strict=True)
    )
    return element(
        "svg",
        element("linearGradient", *stops, id="sky", x1=0, y1=0, x2=0, y2=1),
        element("rect", width="100%", height="100%", fill="url(#sky)"),
        None if seen is None else _sun(seen, latitude),
        element("rect", y=GROUND, width="100%", height=HIGH - GROUND, fill=css(_stone(seen))),
        class_="band",
        aria_hidden="true",
    )


def _sun(seen: SkyView, latitude: float) -> Node | None:
    """Where it stands for who looks to where it culminates; gone behind the horizon."""
    if seen.elevation < -1:
        return None
    aside = (seen.azimuth + (0 if latitude >= 0 else 180)) % 360 - 180
    x = 64 + 32 * math.sin(math.radians(max(-90.0, min(90.0, aside))))
    y = GROUND - 6 - (GROUND - 26) * min(1.0, max(0.0, seen.elevation) / HIGHEST)
    veiled = 1 - 0.75 * (seen.cloud or 0.0)
    return element("circle", cx=f"{x:.1f}%", cy=f"{y:.0f}", r=12, fill=SUN, fill_opacity=f"{veiled:.2f}")


def _daylight(seen: SkyView | None) -> float:
    return 0.0 if seen is None else tint.daylight(seen.elevation, seen.cloud or 0.0)


def _stone(seen: SkyView | None) -> Rgb:
    """Of house and street, by day and by night."""
    return tint.mix((16, 17, 27), (104, 92, 82), 0.22 + 0.53 * _daylight(seen))


def house(windows: Sequence[Window], seen: SkyView | None, *, lit: bool, words: str) -> Node:
    """The house before the sky: a window for each room in its light, and a street lamp that is `lit` or not."""
    wall = _stone(seen)
    stone = css(wall)
    left, top = 76, GROUND - WALL_HIGH
    right = left + WALL_WIDE
    chimney = "v-14h12v14"
    roof = f"L{left + 22} {top - 26}H{left + 34}{chimney}H{right - 46}{chimney}h12L{right} {top}"
    return element(
        "svg",
        element("path", d=f"M{left} {GROUND}V{top}{roof}V{GROUND}z", fill=stone),
        *_windows([_looks(window, wall, _daylight(seen)) for window in windows], left, top),
        *_street_lamp(stone, lit=lit),
        class_="house",
        viewBox=f"0 0 {right + 10} {HIGH}",
        preserveAspectRatio="xMinYMax meet",
        role="img",
        aria_label=words,
    )


def _looks(window: Window, wall: Rgb, day: float) -> dict[str, str]:
    """Of a window in that wall; one of which nothing is known is only outlined, dashed as such a lantern is."""
    if window == "unknown":
        return {"fill": "none", "stroke": css(tint.mix(wall, (255, 255, 255), 0.35)), "stroke_dasharray": "2.6 2.6"}
    return {"fill": css(tint.mix(GLASS, (120, 132, 150), day) if window == "dark" else window)}


def _windows(windows: Sequence[dict[str, str]], left: int, top: int) -> list[Node]:
    """In rows from the top left, as many beside each other as look like a house."""
    if not windows:
        return []
    across = math.ceil(math.sqrt(len(windows) * WALL_WIDE / WALL_HIGH / 1.2))
    down = math.ceil(len(windows) / across)
    wide, high = WALL_WIDE / across, WALL_HIGH / down
    return [
        element(
            "rect",
            x=f"{left + wide * (number % across + 0.25):.1f}",
            y=f"{top + high * (number // across + 0.2):.1f}",
            width=f"{wide * 0.5:.1f}",
            height=f"{high * 0.6:.1f}",
            **looks,
        )
        for number, looks in enumerate(windows)
    ]


def _street_lamp(stone: str, *, lit: bool) -> list[Node]:
    flame = tint.of_white(2_200)
    post = element("path", d=f"M35 {GROUND}V76h4v{GROUND - 76}z", fill=stone)
    glass = element("path", d="M29 60h16l-3 16H32z", fill=css(flame if lit else GLASS))
    cap = element("path", d="M27 60l10-9 10 9z", fill=stone)
    if not lit:
        return [post, glass, cap]
    halo = element("circle", cx=37, cy=68, r=34, fill="url(#street)")
    return [_fading(flame, "street"), halo, post, glass, cap]


def _fading(light: Rgb, name: str) -> Node:
    """A gradient from that light at the centre to nothing."""
    stops = (("0", 0.9), (".5", 0.4), ("1", 0.0))
    return element(
        "radialGradient",
        *(element("stop", offset=at, stop_color=css(light), stop_opacity=f"{share:.2f}") for at, share in stops),
        id=name,
    )
