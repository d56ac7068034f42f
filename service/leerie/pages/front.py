"""The page at `/`: the house now."""

from collections.abc import Iterator, Sequence
from datetime import tzinfo
from itertools import count
from zoneinfo import ZoneInfo

from leerie.pages import drawn, frame
from leerie.pages.markup import Content, Node, breakable, element
from leerie.pages.room import Shown
from leerie.pages.seen import Seen
from leerie.pages.times import moment
from leerie.report.figures import lux
from leerie.views import SkyView

EVERY_S = 10
_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_UNWRITTEN = {
    "records": "What must survive a restart is with the broker alone.",
    "journal": "What is heard is not kept; light goes on as before.",
}
_SOURCES = {
    "sun": "reckoned from the sun under an assumed cover of cloud",
    "sun+cloud": "reckoned from the sun and the cloud",
    "sensor": "as the sensor outdoors says",
}


def page(seen: Seen) -> bytes:
    """The whole page, as HTML."""
    zone = ZoneInfo(seen.building.site.timezone)
    numbers = count()
    rooms = [Shown(room, seen, zone, numbers) for room in seen.building.rooms.values()]
    return frame.page(
        seen.building.site.name,
        _header(seen, zone, rooms),
        element("section", element("h2", "The rooms now"), _table(rooms), class_="all"),
        element("section", element("h2", "Room by room"), *(room.section() for room in rooms)),
        foot=_running(seen, zone),
        every_s=EVERY_S,
    )


def _header(seen: Seen, zone: tzinfo, rooms: Sequence[Shown]) -> Node:
    windows = [room.window for room in rooms]
    unknown = windows.count("unknown")
    lit = len(windows) - windows.count("dark") - unknown
    words = f"The house: light in {lit} of {len(windows)} rooms" + (f", not known for {unknown}" if unknown else "")
    return element(
        "div",
        drawn.sky(seen.sky, seen.building.site.latitude),
        drawn.house(windows, seen.sky, lit=seen.connected and seen.ailment is None, words=words),
        element(
            "header",
            element("p", "leerie, at ", moment(seen.at, seen.at, zone, fine=True), class_="by"),
            element("h1", seen.building.site.name),
            element("p", *_sky(seen.sky), class_="sky"),
            *_alarms(seen, zone),
            _faults(rooms),
        ),
    )


def _running(seen: Seen, zone: tzinfo) -> Node:
    begun, read = moment(seen.begun, seen.at, zone), moment(seen.read, seen.at, zone)
    return element("p", "Running since ", begun, "; the config that holds was read at ", read, ".")


def _sky(sky: SkyView | None) -> Iterator[Content]:
    if sky is None:
        yield "Nothing is known of the sky yet."
        return
    where = _WINDS[round(sky.azimuth / 45) % len(_WINDS)]
    below = "below" if sky.elevation < 0 else "above"
    yield f"The sun is {abs(sky.elevation):.1f}° {below} the horizon in the {where}. "
    cloud = "No cloud cover is known" if sky.cloud is None else f"Cloud covers {100 * sky.cloud:.0f} % of the sky"
    yield f"{cloud}; outdoors it is {lux(sky.outdoor)} lx, {_SOURCES[sky.source]}. "
    yield "No day part holds." if sky.part is None else f"The day part is {sky.part}."


def _alarms(seen: Seen, zone: tzinfo) -> Iterator[Node]:
    """What concerns all rooms, the gravest first."""
    if seen.ailment is not None:
        yield _alarm("leerie stands still", f"{seen.ailment}. Restart it, and report what its log says.")
    if not seen.connected:
        what = "Sensors are not heard and lamps are not told anything; lamps stay as they are. "
        yield _alarm(
            "Not connected to the broker",
            what,
            "So it has been since ",
            moment(seen.linked, seen.at, zone),
            "; leerie tries again by itself. What stands below is as far as it knows.",
        )
    if seen.clock_known is False:
        yield _alarm("The clock is not known to be right", "Until it is, no day part holds.")
    if seen.refused is not None:
        yield _alarm(
            "A newer config was refused",
            "It was read at ",
            moment(seen.refused, seen.at, zone),
            "; the log says what is wrong with it. The one before it holds.",
        )

    for part in seen.unwritten:
        yield _alarm(f"The {part} cannot be written to the disk", f"{_UNWRITTEN[part]} The log says why.")


def _alarm(title: str, *words: Content) -> Node:
    return element("p", element("strong", title), *words, class_="alarm", role="alert")


def _faults(rooms: Sequence[Shown]) -> Node | None:
    """Where something is wrong."""
    amiss = [room for room in rooms if room.faults]
    if not amiss:
        return None
    links: list[Content] = []
    for room in amiss:
        many = f" ({len(room.faults)})" if len(room.faults) > 1 else ""
        links += [", " if links else "", element("a", *breakable(room.name), many, href=f"#room-{room.name}")]
    return element("p", "Something is wrong in ", *links, class_="faults")


def _table(rooms: Sequence[Shown]) -> Node:
    head = element("tr", *(element("th", words, scope="col") for words in ("room", "state", "lamps")))
    return element("table", element("thead", head), element("tbody", *(room.row() for room in rooms)))
