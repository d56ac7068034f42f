"""The page at `/`: it shows what is, says what is not known, and takes what is said to it for nothing but text."""

import re
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from leerie import report
from leerie.notes import Fault
from leerie.pages import drawn, front, times
from leerie.pages.markup import document, element
from leerie.pages.seen import Seen
from leerie.report.codes import FAULTS
from leerie.views import RoomView
from pages.reading import Read
from runtime.scraped_house import HOUSE, NOON, Scraped

LONDON = ZoneInfo("Europe/London")
SECOND = 1_000_000
MINUTE, HOUR = 60 * SECOND, 3_600 * SECOND
DAY = 24 * HOUR


@pytest.fixture
def house(tmp_path: Path) -> Scraped:
    file = tmp_path / "leerie.toml"
    file.write_text(HOUSE)
    house = Scraped(file)
    house.metrics.connected(True)
    house.metrics.clock_known(True)
    return house


def seen(house: Scraped, ailment: str | None = None) -> Seen:
    return house.metrics.seen(ailment)


def read(seen: Seen) -> Read:
    return Read(front.page(seen))


def view(house: Scraped, room: str = "workshop") -> RoomView:
    return seen(house).rooms[room]


# ---- rooms -----------------------------------------------------------------------------------------------------------


def test_every_room_stands_there_with_its_state(house: Scraped) -> None:
    house.say("radar", "present")
    house.pass_("11s")
    shown = read(seen(house))
    assert "leerie, at 12:00:11" in shown.words
    for room in ("workshop", "stair"):
        assert {"id": f"room-{room}"} in shown.all("h3")
        assert {"href": f"#room-{room}"} in shown.all("a")
    assert "occupied since 12:00" in shown.words


def test_what_ends_by_the_clock_says_when_and_how_long_yet(house: Scraped) -> None:
    house.say("radar", "present")
    house.pass_("20s")
    house.say("radar", "absent")
    shown = read(seen(house))
    assert "grace since 12:00, until 12:02, in 2 min" in shown.words
    until = datetime.fromtimestamp(view(house).until / 1e6, LONDON)
    assert until.isoformat(timespec="seconds") in [time["datetime"] for time in shown.all("time")]


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        ("start", "hold by message since 12:00, until 16:00, in 4 h"),
        ('{"hold": true, "for": "vacant"}', "hold by message since 12:00, until vacant"),
        ('{"hold": true, "for": "day_part"}', "hold by message since 12:00, until the next day part"),
        ('{"hold": true, "for": "ever"}', "hold by message since 12:00, for ever"),
        ('{"hold": true, "for": "90s"}', "hold by message since 12:00, until 12:01:30, in 90 s"),
        ('{"hold": true, "for": "2d"}', "hold by message since 12:00, until Wed 12:00, in 48 h"),
        ('{"hold": true, "for": "9d"}', "hold by message since 12:00, until 2026-03-11 12:00, in 9 days"),
    ],
)
def test_a_hold_says_who_and_until_when(house: Scraped, wish: str, words: str) -> None:
    house.say("leerie/room/workshop/hold", wish)
    assert f"{words}; beneath the hold it is " in read(seen(house)).words


def test_lamps_in_hands_are_not_said_to_shine(house: Scraped) -> None:
    house.say("leerie/room/workshop/hold", "start")
    shown = read(seen(house))
    assert "bench: in somebody's hands" in shown.words
    assert "bench: in somebody's hands" in [drawing.get("aria-label") for drawing in shown.all("svg")]


def test_a_lit_lamp_has_its_own_colour_and_an_unlit_one_none(house: Scraped) -> None:
    house.say("leerie/room/workshop/hold", '{"hold": true, "level": 1, "kelvin": 2700}')
    house.say("leerie/room/stair/hold", '{"hold": true, "level": 0.0}')
    shown = read(seen(house))
    # 255, 173, 89 are a black body's of 2700 K, by colour-science 0.4.7 (as in test_tint.py).
    assert "#ffad58" in {path.get("fill") for path in shown.all("path")}
    labels = [drawing.get("aria-label") for drawing in shown.all("svg")]
    assert "bench: level 1.00 (100 % of its light)" in labels


@pytest.mark.parametrize("room", ["workshop", "stair"])
def test_the_reasons_are_those_that_explain_gives(house: Scraped, room: str) -> None:
    house.say("radar", "present")
    house.say("pir", "present")
    house.say("leerie/room/workshop/bias", "0.15")
    house.say("weather/cloud", "40")
    words = read(seen(house)).words
    sentences = report.because(view(house, room).because, LONDON)
    assert len(sentences) >= 3
    for sentence in sentences:
        lamp, _, rest = sentence.partition(": ")
        for part in (lamp, *rest.split(" → ")):
            assert part in words


def test_a_lamp_that_was_not_told_yet_what_it_should_be_shows_both(house: Scraped) -> None:
    house.say("radar", "present")
    room = view(house)
    dark = replace(room, fixtures=tuple((name, replace(lamp, level=0.25)) for name, lamp in room.fixtures))
    words = read(replace(seen(house), rooms={"workshop": dark})).words
    assert "bench: level 0.25 (6 % of its light)0.80 in the scene → level 0.80 (64 % of its light), 3000 K" in words


def test_of_a_room_that_is_not_decided_yet_it_says_so(house: Scraped) -> None:
    words = read(replace(seen(house), rooms={}, sky=None)).words
    assert words.count("not known yet") >= 4
    assert "Nothing has been decided about this room since leerie started." in words
    assert "Nothing is known of the sky yet." in words


# ---- what is wrong ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", FAULTS)
def test_a_fault_says_what_is_wrong_since_when_and_what_to_do(house: Scraped, code: str) -> None:
    fault = Fault(code, "radar", NOON - HOUR, "the radar of <the> room is out")
    rooms = {"workshop": replace(view(house), faults=(fault,))}
    words = read(replace(seen(house), rooms=rooms)).words
    assert "Something is wrong in workshop" in words
    assert "the radar of <the> room is out, since 11:00. " in words
    remedy = FAULTS[code].remedy.replace("`", "").replace("ROOM", "workshop")
    assert remedy in words


def test_nothing_wrong_is_not_mentioned(house: Scraped) -> None:
    shown = read(seen(house))
    assert "wrong" not in shown.words
    assert not [part for part in shown.all("p") if part.get("class") == "alarm"]


def alarms(shown: Read) -> Iterator[str]:
    return (text for where, text in shown.texts if where == "strong")


def test_that_the_broker_is_away_comes_before_all_rooms(house: Scraped) -> None:
    house.pass_("5m")
    house.metrics.connected(False)
    house.pass_("2m")
    shown = read(seen(house))
    assert list(alarms(shown)) == ["Not connected to the broker"]
    assert "So it has been since 12:05; leerie tries again by itself." in shown.words
    assert shown.words.index("Not connected") < shown.words.index("The rooms now")
    house.metrics.connected(True)
    assert list(alarms(read(seen(house)))) == []


def test_what_else_concerns_the_whole_house(house: Scraped) -> None:
    house.metrics.clock_known(False)
    house.metrics.reloaded(ok=False)
    house.metrics.watch("records", lambda: False)
    house.metrics.watch("journal", lambda: None)
    shown = read(seen(house, ailment="nothing has been decided for 12 s"))
    assert list(alarms(shown)) == [
        "leerie stands still",
        "The clock is not known to be right",
        "A newer config was refused",
        "The records cannot be written to the disk",
    ]
    assert "nothing has been decided for 12 s." in shown.words


def test_when_it_began_and_when_the_config_was_read(house: Scraped) -> None:
    house.pass_("1h")
    house.metrics.reloaded(ok=True)
    house.pass_("1h")
    house.metrics.reloaded(ok=False)
    words = read(seen(house)).words
    assert "Running since 12:00; the config that holds was read at 13:00." in words
    assert "It was read at 14:00" in words


def test_a_reload_shows_the_new_rooms_and_not_the_old(house: Scraped) -> None:
    building = seen(house).building
    house.metrics.follow(replace(building, rooms={"stair": building.rooms["stair"]}))
    shown = read(seen(house))
    assert [title["id"] for title in shown.all("h3")] == ["room-stair"]


# ---- the sky ---------------------------------------------------------------------------------------------------------


def test_the_sky_is_told_in_words(house: Scraped) -> None:
    house.say("weather/cloud", "40")
    house.pass_("1m")
    assert re.search(
        r"The sun is \d+\.\d° above the horizon in the south\. Cloud covers 40 % of the sky; outdoors it is \d+ lx, "
        r"reckoned from the sun and the cloud\. The day part is day\.",
        read(seen(house)).words,
    )


@pytest.mark.parametrize(("latitude", "azimuth", "right"), [(55, 90, False), (55, 270, True), (-34, 90, True)])
def test_the_sun_stands_where_one_sees_it(house: Scraped, latitude: float, azimuth: float, *, right: bool) -> None:
    """Facing its highest point: in the south the east is to the right. Common knowledge, no source."""
    now = seen(house)
    assert now.sky is not None
    building = replace(now.building, site=replace(now.building.site, latitude=latitude))
    shown = read(replace(now, building=building, sky=replace(now.sky, azimuth=azimuth, elevation=20)))
    (sun,) = [float(circle["cx"].rstrip("%")) for circle in shown.all("circle") if circle["cx"].endswith("%")]
    assert (sun > 64) == right


def test_below_the_horizon_there_is_no_sun(house: Scraped) -> None:
    now = seen(house)
    assert now.sky is not None
    shown = read(replace(now, sky=replace(now.sky, elevation=-8.0, part=None, cloud=None)))
    assert "The sun is 8.0° below the horizon" in shown.words
    assert "No day part holds." in shown.words
    assert not [circle for circle in shown.all("circle") if circle["cx"].endswith("%")]


@pytest.mark.parametrize("rooms", [1, 2, 7, 40, 300])
def test_the_house_has_a_window_for_each_room(rooms: int) -> None:
    """All of them within its walls, none upon another."""
    windows: list[drawn.Window] = [(255, 200, 120), "dark", "unknown"]
    drawn_house = drawn.house((windows * rooms)[:rooms], None, lit=True, words="the house")
    places = [
        {name: float(part.get(name, "")) for name in ("x", "y", "width", "height")} for part in drawn_house.iter("rect")
    ]
    assert len(places) == rooms
    assert len({(place["x"], place["y"]) for place in places}) == rooms
    for place in places:
        assert 76 <= place["x"] < place["x"] + place["width"] <= 76 + drawn.WALL_WIDE
        assert drawn.GROUND - drawn.WALL_HIGH <= place["y"] < place["y"] + place["height"] <= drawn.GROUND


def test_a_window_is_lit_or_dark_only_where_that_is_known(house: Scraped) -> None:
    """In a hands-off hold, and before the first decision, nobody knows."""

    def shown(now: Seen) -> tuple[str, int]:
        page = read(now)
        (words,) = [svg["aria-label"] for svg in page.all("svg") if svg.get("class") == "house"]
        return words, sum(rect.get("fill") == "none" and "stroke-dasharray" in rect for rect in page.all("rect"))

    before = replace(seen(house), rooms={})
    assert shown(before) == ("The house: light in 0 of 2 rooms, not known for 2", 2)
    house.say("radar", "present")
    house.say("pir", "on")
    house.pass_("11s")
    assert shown(seen(house)) == ("The house: light in 2 of 2 rooms", 0)
    house.say("leerie/room/workshop/hold", "start")
    assert view(house).fixtures is None
    assert shown(seen(house)) == ("The house: light in 1 of 2 rooms, not known for 1", 1)
    house.say("leerie/room/workshop/hold", '{"hold": true, "level": 0}')
    assert shown(seen(house)) == ("The house: light in 1 of 2 rooms", 0)


def test_the_street_lamp_is_lit_while_leerie_is_connected(house: Scraped) -> None:
    def lit() -> bool:
        return "street" in [gradient.get("id") for gradient in read(seen(house)).all("radialgradient")]

    assert lit()
    house.metrics.connected(False)
    assert not lit()


# ---- it is text, and well-formed -------------------------------------------------------------------------------------

HOSTILE = "</title></style><script>alert(1)</script><img src=x onerror=alert(1)>\"'&amp;&lt;\x00\x1b[31m\u202e"


def test_what_is_said_to_leerie_becomes_nothing_but_text(house: Scraped) -> None:
    now = seen(house)
    site = replace(now.building.site, name=HOSTILE)
    fault = Fault("message_refused", HOSTILE, NOON, HOSTILE)
    rooms = {"workshop": replace(view(house), faults=(fault,), part=HOSTILE)}
    sky = None if now.sky is None else replace(now.sky, part=HOSTILE)
    shown = read(replace(now, building=replace(now.building, site=site), rooms=rooms, sky=sky, ailment=HOSTILE))
    visible = HOSTILE.encode("unicode_escape").decode() if not HOSTILE.isprintable() else HOSTILE
    assert shown.words.count(visible) == 4
    assert ("title", visible) in shown.texts


@given(st.text(), st.text())
def test_every_text_comes_out_as_it_went_in(text: str, value: str) -> None:
    """Half characters and what does not print are spelt out."""
    shown = Read(document(element("p", text, title=value)))
    assert "".join(part for _, part in shown.texts).removesuffix("\n").removeprefix("\n") == printed(text)
    assert shown.all("p") == [{"title": printed(value)}]


def printed(text: str) -> str:
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)


def test_the_page_is_of_one_piece(house: Scraped) -> None:
    """Well-formed (Read sees to that), every reference finds what it points at, nothing comes from elsewhere."""
    house.say("radar", "present")
    house.say("pir", "present")
    page = front.page(seen(house))
    shown = Read(page)
    assert page.startswith(b"<!doctype html>\n")
    names = [attributes["id"] for _, attributes in shown.elements if "id" in attributes]
    assert len(names) == len(set(names))
    targets = [link["href"] for link in shown.all("a")]
    assert {target for target in targets if not target.startswith("#")} == {"metrics", "healthz", "readyz"}
    used = {found for _, attributes in shown.elements for found in re.findall(r"url\(#(.*?)\)", str(attributes))}
    pointed = {target.removeprefix("#") for target in targets if target.startswith("#")}
    assert pointed | used <= set(names)
    assert used
    for tag, attributes in shown.elements:
        assert "style" not in attributes
        assert not [name for name in attributes if name.startswith("on") or name == "src"]
        assert tag != "link" or attributes["href"].startswith("data:image/svg+xml,")


def test_tables_and_headings_are_what_they_are(house: Scraped) -> None:
    shown = read(seen(house))
    assert len(shown.all("h1")) == len(shown.all("main")) == len(shown.all("header")) == 1
    scopes = [cell.get("scope") for cell in shown.all("th")]
    assert scopes == ["col"] * 3 + ["row"] * 2
    levels = [int(tag[1]) for tag, _ in shown.elements if re.fullmatch(r"h[1-6]", tag)]
    assert all(after <= before + 1 for before, after in pairwise(levels))


# ---- times -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (0, "0 s"),
        (1, "1 s"),
        (119 * SECOND, "119 s"),
        (120 * SECOND, "2 min"),
        (120 * SECOND + 1, "3 min"),
        (HOUR - 1, "1 h"),
        (HOUR + 1, "1 h 1 min"),
        (2 * DAY, "48 h"),
        (2 * DAY + SECOND, "3 days"),
    ],
)
def test_lengths_are_said_as_people_say_them(span: int, words: str) -> None:
    assert times.length(span) == words


def test_times_are_the_sites_over_a_change_of_clocks() -> None:
    """On 29 March 2026 clocks in the United Kingdom go from 1:00 to 2:00 (Summer Time Act 1972, s. 1)."""
    before = 1_774_746_000_000_000 - MINUTE
    shown = times.moment(before + 2 * MINUTE, before, LONDON)
    assert (shown.text, shown.get("datetime")) == ("02:01", "2026-03-29T02:01:00+01:00")
    assert times.moment(before, before + MINUTE, LONDON).get("datetime") == "2026-03-29T00:59:00+00:00"
