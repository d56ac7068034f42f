"""`leerie explain`: why every lamp of a room is as it is; with any of the options, why it would be."""

import argparse
import secrets
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from leerie import report
from leerie.cli import ANSWER_S, StopError, configured, no_answer, streams
from leerie.cli.options import Options
from leerie.config.building import Building
from leerie.config.problems import shown
from leerie.daylight import civil
from leerie.report import explained
from leerie.supposed import STATES, sent, suppose
from leerie.views import LampView

YEARS = range(1971, 2100)
"""Instants are reckoned from 1970; the sun's formulas are made for the years around 2000."""
MOST_LX = 200_000.0
"""No sky on Earth gives more."""


def add(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("room", metavar="ROOM", help="a room's key in the config")
    parser.add_argument(
        "--at", metavar="T", help="17:00, 2026-12-21 17:00 (the site's clocks) or 2026-12-21T17:00:00Z; now"
    )
    parser.add_argument("--state", metavar="S", help=f"{', '.join(STATES)}; default: occupied")
    parser.add_argument(
        "--cloud",
        metavar="C",
        help="cloud cover, 0…1, unless a sensor says how bright it is; default: what the config assumes",
    )
    parser.add_argument("--outdoor-lux", metavar="L", help="what a sensor outdoors reads; default: by sun and cloud")
    parser.add_argument("--json", action="store_true", help="for programs")


def main(args: argparse.Namespace) -> int:
    building = configured.building(args)
    options = (args.at, args.state, args.cloud, args.outdoor_lux)
    explain = _live if all(option is None for option in options) else _supposed
    for line in explain(args, building):
        print(line)
    return 0


def _style(building: Building) -> dict[str, Any]:
    """How the page is to be written."""
    switched = {name for name, lamp in building.fixtures.items() if lamp.kind == "switched"}
    return {"switched": switched, "width": streams.columns(explained.WIDTH)}


# ---- as it would be --------------------------------------------------------------------------------------------------


def _room_known(args: argparse.Namespace, building: Building) -> Options:
    """Options that note a room which is not there."""
    options = Options()
    if wrong := configured.unknown_room(args, building):
        options.note(wrong)
    return options


def _supposed(args: argparse.Namespace, building: Building) -> Iterator[str]:
    zone = ZoneInfo(building.site.timezone)
    options = _room_known(args, building)
    state = options.word("--state", args.state or "occupied", STATES)
    cloud = options.number("--cloud", args.cloud, (0.0, 1.0))
    lux = options.number("--outdoor-lux", args.outdoor_lux, (0.0, MOST_LX))
    wall = _instant(args.at, zone, options)
    options.stop_if_wrong()
    if cloud is not None and lux is not None:
        print("--cloud: is not used; --outdoor-lux says how bright it is outdoors", file=sys.stderr)
    found = suppose(building, args.room, STATES[state], wall, cloud=cloud, lux=lux)
    if args.json:
        sky, room = report.sky(found.sky, zone), report.room_state(found.room, zone)
        yield explained.answer(sky, room, found.sent).decode()
        return
    moment = civil.local(zone, wall)
    title = f"{args.room}, if it were {'in ' * (state == 'grace')}{state} on {moment:%A %Y-%m-%d at %H:%M}:"
    because = report.because(found.room.because, zone)
    yield from explained.page(title, because, found.sent, **_style(building))


def _instant(text: str | None, zone: ZoneInfo, options: Options) -> int:
    """Wall clock, µs UTC; what is no moment is noted, and now taken for it."""
    now = datetime.now(UTC)
    if text is None:
        return int(now.timestamp()) * civil.SECOND_US
    read = _read(text.strip(), now.astimezone(zone).date())
    if read is None or read.year not in YEARS:
        allowed = "17:00, 2026-12-21 17:00 or, with an offset, 2026-12-21T17:00:00+00:00"
        years = f"years from {YEARS.start} to {YEARS.stop - 1}"
        options.note(f"--at: {shown(text)} is no moment; allowed: times such as {allowed}, {years}")
        return int(now.timestamp()) * civil.SECOND_US
    if read.tzinfo is not None:
        return int(read.timestamp()) * civil.SECOND_US
    return civil.moment(zone, read.date(), read.hour * 3600 + read.minute * 60 + read.second)


def _read(text: str, today: date) -> datetime | None:
    """A time of today, or a date with its time; None: neither."""
    if ":" not in text:
        return None
    try:
        return datetime.combine(today, time.fromisoformat(text))
    except ValueError:
        pass
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


# ---- as it is --------------------------------------------------------------------------------------------------------


class _Lamp(msgspec.Struct):
    level: float
    kelvin: int | None
    xy: tuple[float, float] | None = None


class _Fault(msgspec.Struct):
    text: str


class _Hold(msgspec.Struct):
    ends: str = msgspec.field(name="for")


class _State(msgspec.Struct):
    """What of a published state is needed here."""

    state: str
    until: str | None
    fixtures: dict[str, _Lamp | None] | None
    because: list[str]
    faults: list[_Fault]
    hold: _Hold | None = None
    bias: float = 0.0


class _Service(msgspec.Struct):
    running: bool


def _live(args: argparse.Namespace, building: Building) -> Iterator[str]:
    """The chain down to the payload starts from the levels as they are published, to three decimals."""
    _room_known(args, building).stop_if_wrong()
    root = building.broker.topics
    names = (f"{root}/service", f"{root}/sky", f"{root}/room/{args.room}/state")
    service, sky, room = _kept(building, names)
    try:
        running = msgspec.json.decode(service, type=_Service).running if service is not None else False
        if not running or sky is None or room is None:
            raise StopError(no_answer(args.room, running=running, known=room is not None))
        msgspec.json.decode(sky)
        state = msgspec.json.decode(room, type=_State)
        lamps = {
            name: LampView(lamp.level, lamp.kelvin, lamp.xy)
            for name, lamp in (state.fixtures or {}).items()
            if lamp is not None
        }
        told = sent(building, args.room, lamps)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as fault:
        raise StopError(f"{args.room}: what is kept at the broker is not from a leerie of this version") from fault
    except (KeyError, ValueError) as fault:
        raise StopError(f"{args.room}: the running leerie has another config than this one; restart it") from fault
    if args.json:
        yield explained.answer(sky, room, told).decode()
        return
    title = explained.title(args.room, state.state, state.until, state.hold.ends if state.hold else None, state.bias)
    faults = (fault.text for fault in state.faults)
    yield from explained.page(title, state.because, told, faults, **_style(building))


def _kept(building: Building, topics: tuple[str, ...]) -> list[bytes | None]:
    """What the broker keeps on these topics, as far as it comes in time. Raises StopError."""
    # Here, because without a broker nobody needs a client for one.
    from leerie.runtime.connection import Got  # noqa: PLC0415 - only who asks live talks to a broker
    from leerie.runtime.visit import NoVisitError, Visit  # noqa: PLC0415 - as above

    broker = building.broker
    found: dict[str, bytes] = {}
    try:
        with Visit(broker, f"{broker.client_id}-explain-{secrets.token_hex(4)}") as visit:
            visit.subscribe(topics)
            for word in visit.words(ANSWER_S):
                if isinstance(word, Got) and word.topic in topics:
                    found[word.topic] = word.payload
                    if len(found) == len(topics):
                        break
    except NoVisitError as fault:
        raise StopError(f"broker {broker.host}:{broker.port}: {fault}") from fault
    return [found.get(topic) for topic in topics]
