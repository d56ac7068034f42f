"""The page in a real browser: it fits from a narrow phone to a wide screen, and the browser has nothing to complain of.

Chromium (Debian 12: package chromium); without it these tests are skipped, but fail in CI.
"""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from msgspec.structs import replace
from prometheus_client import CollectorRegistry

from leerie.notes import Fault
from leerie.pages import frame, front
from leerie.pages.look import DAY, NIGHT, rgb
from leerie.pages.markup import element
from leerie.pages.seen import Seen
from leerie.runtime.page import Front, Page
from pages.browser import Chromium
from runtime.scraped_house import HOUSE, NOON, Scraped

pytestmark = pytest.mark.broker
LONG = "the_room_behind_the_varnish_cabinet_where_patterns_moulds_and_clamps_have_hung_ever_since"
NARROWEST, PHONE, DESK = 320, 360, 1_400
"""CSS px; 320 is what WCAG 2.2, success criterion 1.4.10 asks for."""
TOUCHABLE = 24
"""CSS px each way: WCAG 2.2, success criterion 2.5.8."""


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    with Chromium(tmp_path_factory.mktemp("profile")) as chromium:
        yield chromium


@contextmanager
def served(front: Front) -> Iterator[str]:
    page = Page(("127.0.0.1", 0), CollectorRegistry(), lambda: None, lambda: None, front)
    try:
        yield "http://{}:{}/".format(*page.address)
    finally:
        page.close()


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Seen:
    """A house with everything on its page at once: lamps, a hold, faults, a long name, markup in a name, alarms."""
    file = tmp_path_factory.mktemp("house") / "leerie.toml"
    file.write_text(HOUSE.replace("stair", LONG))
    house = Scraped(file)
    for topic, payload in (("radar", "present"), ("pir", "present"), ("leerie/room/workshop/hold", "start")):
        house.say(topic, payload)
    house.metrics.reloaded(ok=False)
    seen = house.metrics.seen("nothing has been decided for 12 s")
    faults = (Fault("message_refused", LONG, NOON, f'{"x" * 90}<script>document.title = "run"</script>'),)
    rooms = {name: replace(view, faults=faults) for name, view in seen.rooms.items()}
    site = replace(seen.building.site, name="<script>document.title = 'run'</script>")
    return replace(seen, rooms=rooms, building=replace(seen.building, site=site))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [NARROWEST, PHONE, DESK])
def test_it_fits_and_nothing_is_blocked(browser: Chromium, full: Seen, width: int, scheme: str) -> None:
    browser.complaints.clear()
    with served(lambda: front.page(full)) as url:
        browser.open(url, width, scheme)
        assert browser.look("[innerWidth, document.documentElement.scrollWidth]") == [width, width]
        assert browser.look("document.title") == "<script>document.title = 'run'</script>"
        assert browser.look("document.scripts.length") == 0
        small = browser.look(
            "[...document.links].map(a => [a.textContent, a.getBoundingClientRect()])"
            f".filter(([_, box]) => Math.min(box.width, box.height) < {TOUCHABLE}).map(([text]) => text)"
        )
    assert small == []
    assert browser.complaints == []
    paper = rgb((NIGHT if scheme == "dark" else DAY)["paper"])
    assert browser.look("getComputedStyle(document.body).backgroundColor") == f"rgb{paper}"


def test_lamps_are_drawn_in_their_own_colour(browser: Chromium, full: Seen) -> None:
    """By Chromium's own reading of the attributes: a gradient's name found, a fill understood."""
    with served(lambda: front.page(full)) as url:
        browser.open(url, PHONE)
        fills = browser.look("[...document.querySelectorAll('.lantern path')].map(p => getComputedStyle(p).fill)")
    lit = [fill for fill in fills if fill.startswith("rgb(255, ")]
    assert lit


def test_what_is_blocked_would_be_seen(browser: Chromium) -> None:
    """The browser knows no style but the page's own, and says so."""
    browser.complaints.clear()
    styled = frame.page("t", element("p", "dark", style="color: red"))
    with served(lambda: styled) as url:
        browser.open(url, PHONE)
        assert browser.look("getComputedStyle(document.querySelector('p')).color") != "rgb(255, 0, 0)"
    assert any("Content Security Policy" in complaint for complaint in browser.complaints)


def test_what_does_not_fit_would_be_seen(browser: Chromium) -> None:
    with served(lambda: frame.page("t", element("svg", width=2 * PHONE, height=9))) as url:
        browser.open(url, PHONE)
        assert browser.look("document.documentElement.scrollWidth") > PHONE


def test_it_reads_itself_anew(browser: Chromium) -> None:
    times = iter(range(1_000))
    with served(lambda: frame.page(f"read {next(times)}", None, every_s=1)) as url:
        browser.open(url, PHONE)
        browser.loaded()
        assert browser.look("document.title") != "read 0"
