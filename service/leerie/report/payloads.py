"""What a room and the sky look like on the wire."""

from datetime import tzinfo

import msgspec

from leerie.config import durations
from leerie.report.figures import illuminance, timestamp
from leerie.report.words import because
from leerie.views import HoldView, LampView, RoomView, SkyView


class _Hold(msgspec.Struct):
    since: str
    until: str | None
    ends: str = msgspec.field(name="for")
    level: float | None
    kelvin: int | None
    by: str


class _Lamp(msgspec.Struct):
    on: bool
    level: float
    kelvin: int | None
    xy: tuple[float, float] | msgspec.UnsetType = msgspec.UNSET
    """Only where a colour was asked for."""


class _Fault(msgspec.Struct):
    code: str
    what: str
    since: str
    text: str


class _Room(msgspec.Struct):
    state: str
    occupancy: str
    since: str
    until: str | None
    hold: _Hold | None
    asked: str | None
    bias: float
    day_part: str | None
    outdoor_lux: float
    fixtures: dict[str, _Lamp | None] | None
    because: list[str]
    faults: list[_Fault]


class _Sky(msgspec.Struct):
    at: str
    day_part: str | None
    sun_elevation: float
    sun_azimuth: float
    cloud: float | None
    outdoor_lux: float
    diffuse_lux: float
    outdoor_from: str


_JSON = msgspec.json.Encoder()


def room_state(view: RoomView, zone: tzinfo) -> bytes:
    """A room's state as JSON."""
    room = _Room(
        state=view.state,
        occupancy=view.occupancy,
        since=timestamp(view.since, zone),
        until=_timestamp_or_none(view.until, zone),
        hold=None if view.hold is None else _hold(view.hold, zone),
        asked=view.asked,
        bias=round(view.bias, 3),
        day_part=view.part,
        outdoor_lux=illuminance(view.outdoor),
        fixtures=None if view.fixtures is None else {name: _lamp(lamp) for name, lamp in view.fixtures},
        because=because(view.because, zone),
        faults=[_Fault(fault.code, fault.what, timestamp(fault.since, zone), fault.text) for fault in view.faults],
    )
    return _JSON.encode(room)


def sky(view: SkyView, zone: tzinfo) -> bytes:
    """The sky as JSON."""
    return _JSON.encode(
        _Sky(
            at=timestamp(view.at, zone),
            day_part=view.part,
            sun_elevation=round(view.elevation, 3),
            sun_azimuth=round(view.azimuth, 3) % 360,
            cloud=None if view.cloud is None else round(view.cloud, 3),
            outdoor_lux=illuminance(view.outdoor),
            diffuse_lux=illuminance(view.diffuse),
            outdoor_from=view.source,
        )
    )


def _hold(hold: HoldView, zone: tzinfo) -> _Hold:
    ends = durations.render(hold.ends) if isinstance(hold.ends, int) else hold.ends
    level = None if hold.level is None else round(hold.level, 3)
    return _Hold(timestamp(hold.since, zone), _timestamp_or_none(hold.until, zone), ends, level, hold.kelvin, hold.by)


def _lamp(lamp: LampView | None) -> _Lamp | None:
    """None: not yet commanded."""
    if lamp is None:
        return None
    xy = msgspec.UNSET if lamp.xy is None else (round(lamp.xy[0], 4), round(lamp.xy[1], 4))
    return _Lamp(lamp.on, round(lamp.level, 3), lamp.kelvin, xy)


def _timestamp_or_none(wall: int | None, zone: tzinfo) -> str | None:
    return None if wall is None else timestamp(wall, zone)
