"""From a sound config to the Building: defaults by kind, overrides and lower bounds worked in, words taken apart."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import cast

from jsonpointer import JsonPointer

from leerie.config import building as out
from leerie.config import devices, durations, matches, models, running, scenes, starts
from leerie.config.payload import parse
from leerie.config.values import address, days_off
from leerie.now import HOUR_MS, MINUTE_MS, SECOND_MS

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
STUCK_MS = 12 * HOUR_MS
STUCK_PULSE_MS = 30 * MINUTE_MS
"""A motion sensor that neither clears by itself nor has a word for absent."""
SENSOR_SLACK_MS = 5 * SECOND_MS
"""Added to a sensor's own times, for its next message to arrive in."""
WHITES = (2200, 6500)
"""Kelvin that lamps of many whites span, unless the config knows better."""

ms = durations.parse


def compiled(config: models.Config, password: str | None, folder: Path) -> out.Building:
    """The config must have passed every check. `password`: from wherever it came; `folder`: where named files stand."""
    fixtures = {name: _fixture(name, fixture, ms(config.service.refresh)) for name, fixture in config.fixtures.items()}
    return out.Building(
        site=_site(config.site),
        broker=_broker(config.broker, password, folder),
        service=_service(config.service, folder),
        daylight=_daylight(config.daylight),
        parts={name: _day_part(name, part) for name, part in config.day_parts.items()},
        sensors={name: _sensor(name, sensor) for name, sensor in config.sensors.items()},
        fixtures=fixtures,
        rooms={name: _room(name, room, config) for name, room in config.rooms.items()},
    )


# ---- the site, the broker, the service, daylight ---------------------------------------------------------------------


def _site(site: models.Site) -> out.Site:
    return out.Site(
        name=site.name,
        latitude=site.latitude,
        longitude=site.longitude,
        timezone=site.timezone,
        holidays=site.holidays,
        days_off=tuple(days_off(stretch) for stretch in site.days_off),
        workweek=tuple(number for number, day in enumerate(WEEK) if day in site.workweek),
        kelvin=site.kelvin,
        bed=site.bed,
    )


def _broker(broker: models.Broker, password: str | None, folder: Path) -> running.Broker:
    tls = broker.tls
    return running.Broker(
        host=broker.host,
        port=broker.port or (8883 if tls else 1883),
        protocol=broker.protocol,
        client_id=broker.client_id,
        username=broker.username,
        password=password,
        tls=running.Tls(*(_file(folder, name) for name in (tls.ca, tls.certificate, tls.key))) if tls else None,
        topics=broker.topics,
        keepalive_s=ms(broker.keepalive) // SECOND_MS,
    )


def _file(folder: Path, name: str | None) -> str | None:
    return None if name is None else str(folder / name)


def _service(service: models.Service, folder: Path) -> running.Service:
    return running.Service(
        state_dir=_file(folder, service.state_dir),
        journal=running.Journal(service.journal.days, service.journal.megabytes * 1_000_000),
        metrics=address(service.metrics) if service.metrics else None,
        refresh_ms=ms(service.refresh),
        drift_ms=ms(service.drift),
        log=service.log,
        trust_clock_after_ms=ms(service.trust_clock_after),
    )


def _daylight(daylight: models.Daylight) -> out.Daylight:
    cloud, outdoor = daylight.cloud, daylight.outdoor
    return out.Daylight(
        dark=daylight.dark,
        bright=daylight.bright,
        scale=daylight.scale,
        assume_cloud=daylight.assume_cloud,
        cloud=out.Feed(cloud.topic, _pointer(cloud.pointer), ms(cloud.expires), cloud.unit) if cloud else None,
        outdoor=out.Feed(outdoor.topic, _pointer(outdoor.pointer), ms(outdoor.expires), "lux") if outdoor else None,
    )


def _pointer(text: str | None) -> out.Pointer:
    return None if text is None else tuple(JsonPointer(text).parts)


# ---- the day ---------------------------------------------------------------------------------------------------------


def _day_part(name: str, part: models.DayPart) -> out.DayPart:
    begins = [models.Start(at=part.starts)] if isinstance(part.starts, str) else part.starts
    return out.DayPart(
        name=name,
        starts=tuple(_start(start.at, tuple(start.days or part.days)) for start in begins),
        earliest=starts.clock(part.earliest) if part.earliest else None,
        latest=starts.clock(part.latest) if part.latest else None,
        kelvin=part.kelvin,
        blend_ms=ms(part.blend),
    )


def _start(at: str, days: out.Days) -> out.ClockStart | out.SunStart:
    start = starts.parse(at)
    return out.ClockStart(start, days) if isinstance(start, int) else out.SunStart(*start, days)


# ---- sensors ---------------------------------------------------------------------------------------------------------


def _sensor(name: str, sensor: devices.Sensor) -> out.Sensor:
    if sensor.kind == "button":
        present = absent = out.Match(())
    else:
        present, absent = matches.pair(sensor.kind, sensor.present, sensor.absent)
    return out.Sensor(
        name=name,
        kind=sensor.kind,
        topic=sensor.topic,
        pointer=_pointer(sensor.pointer),
        present=present,
        absent=absent,
        stuck_ms=_stuck_ms(sensor),
        clears_ms=ms(sensor.clears) if sensor.clears else None,
        rests_ms=ms(sensor.rests) if sensor.rests else 0,
        alive_ms=ms(sensor.alive) if sensor.alive else None,
        online=_online(sensor.online) if sensor.online else None,
        battery=_battery(sensor.battery) if sensor.battery else None,
        does=sensor.does or {},
    )


def _stuck_ms(sensor: devices.Sensor) -> int:
    if sensor.stuck is not None:
        return ms(sensor.stuck)
    pulses_only = sensor.kind == "motion" and sensor.clears is None and sensor.absent is None
    return STUCK_PULSE_MS if pulses_only else STUCK_MS


def _online(online: devices.Online) -> out.Online:
    return out.Online(online.topic, _pointer(online.pointer), *matches.pair("presence", online.present, online.absent))


def _battery(battery: devices.Battery) -> out.Battery:
    return out.Battery(battery.topic, _pointer(battery.pointer), battery.low)


# ---- lamps -----------------------------------------------------------------------------------------------------------


def _fixture(name: str, lamp: devices.Fixture, refresh_ms: int) -> out.Fixture:
    response = lamp.response
    return out.Fixture(
        name=name,
        kind=lamp.kind,
        messages=_wires(lamp.messages or ("$on" if lamp.payload is None else lamp.payload), lamp.topic),
        when_off=None if lamp.when_off is None else _wires(lamp.when_off, lamp.topic),
        words=(lamp.words.on, lamp.words.off) if lamp.words else None,
        trim=(lamp.trim[0], lamp.trim[1]),
        curve=lamp.curve,
        response=tuple((raw, lux) for raw, lux in response) if response else None,
        range=(lamp.range[0], lamp.range[1]),
        kelvin=_whites(lamp),
        fade_up_ms=ms(lamp.fade.up),
        fade_down_ms=ms(lamp.fade.down),
        pace_ms=max(1, round(SECOND_MS / lamp.pace)),
        refresh_ms=None if lamp.refresh == "never" else ms(lamp.refresh) if lamp.refresh else refresh_ms,
        lumens=lamp.lumens,
        watts=lamp.watts,
        standby=lamp.standby,
        utilisation=lamp.utilisation,
    )


def _wires(payload: str | Mapping[str, object] | list[devices.Wire], topic: str | None) -> tuple[out.Wire, ...]:
    if isinstance(payload, list):
        return tuple(out.Wire(wire.topic, parse(wire.payload)) for wire in payload)
    return (out.Wire(cast("str", topic), parse(payload)),)


def _whites(lamp: devices.Fixture) -> tuple[int, int] | None:
    if lamp.kelvin is not None:
        return lamp.kelvin[0], lamp.kelvin[1]
    return WHITES if lamp.kind in ("tunable", "colour") else None


# ---- rooms -----------------------------------------------------------------------------------------------------------


def _room(name: str, room: models.Room, config: models.Config) -> out.Room:
    parts = tuple(part for part in config.day_parts if part in room.scenes)
    changes = [room.during[part] for part in room.during]
    named = {*room.sensors, *room.keep}.union(*((*(change.sensors or ()), *(change.keep or ())) for change in changes))
    return out.Room(
        name=name,
        sensors=tuple(sensor for sensor in config.sensors if sensor in named),
        fixtures=tuple(room.fixtures),
        parts=parts,
        rules=_rules(room, models.During(), config),
        during={part: _rules(room, room.during[part], config) for part in parts if part in room.during},
        scenes={part: _scene(room.scenes[part]) for part in parts},
        asked=_scene(room.scenes["asked"]) if "asked" in room.scenes else None,
        hold_for=_hold_end(room.hold_for),
        if_blind=room.if_blind or ("on" if room.egress else "off"),
        enclosed=room.enclosed,
        settle_ms=ms(room.settle or "10s"),
        egress=room.egress,
        area=room.area,
        maintenance=room.maintenance,
        utilisation=room.utilisation,
        daylight_factor=room.daylight_factor / 100,
        eye_ratio=room.eye_ratio,
        meter=_meter(room.meter) if room.meter else None,
    )


def _meter(meter: models.Meter) -> out.Meter:
    return out.Meter(meter.topic, _pointer(meter.pointer), ms(meter.expires), meter.lamps, meter.daylight)


def _rules(room: models.Room, change: models.During, config: models.Config) -> out.Rules:
    """The room's keys with those that the day part changes, its graces no shorter than the sensors' own times allow."""
    sensors = room.sensors if change.sensors is None else change.sensors
    keep = room.keep if change.keep is None else change.keep
    shortest = shortest_grace_ms([config.sensors[name] for name in (*sensors, *keep)])
    grace = max(ms(change.grace or room.grace), shortest)
    pass_through = max(ms(change.pass_through or room.pass_through), shortest)
    warn = room.warn if change.warn is None else change.warn
    warned = None if room.egress or not warn else min(ms(warn.before), grace // 2)
    return out.Rules(
        sensors=tuple(sensors),
        keep=tuple(keep),
        auto_on=room.auto_on if change.auto_on is None else change.auto_on,
        confirm_ms=ms(change.confirm or room.confirm),
        pass_through_ms=grace if room.egress else pass_through,
        grace_ms=grace,
        warn_before_ms=warned or None,
        warn_level=warn.level if warn else 1.0,
        relight_ms=ms(change.relight or room.relight),
        vacant=_scene(room.scenes.get("vacant", {}) if change.vacant is None else change.vacant),
    )


def shortest_grace_ms(sensors: Iterable[devices.Sensor]) -> int:
    """The longest that one of them may need before it can speak again."""
    own = [ms(sensor.clears or "0s") + ms(sensor.rests or "0s") for sensor in sensors]
    return max((time + SENSOR_SLACK_MS for time in own if time), default=0)


def _scene(scene: models.Scene) -> scenes.Scene:
    return {lamp: _value(value) for lamp, value in scene.items()}


def _value(value: float | models.Light) -> scenes.Value:
    if not isinstance(value, models.Light):
        return scenes.Fixed(value)
    kelvin = _white(value.kelvin)
    xy = (value.xy[0], value.xy[1]) if value.xy else None
    if value.lux is not None:
        return scenes.Maintain(value.lux, kelvin, xy)
    if value.follow is not None:
        return scenes.Follow(value.follow[0], value.follow[1], kelvin, xy)
    return scenes.Fixed(value.level or 0.0, kelvin, xy)


def _white(kelvin: int | models.SunWhite | None) -> scenes.White | None:
    return scenes.SunWhite(kelvin.sun[0], kelvin.sun[1], kelvin.high) if isinstance(kelvin, models.SunWhite) else kelvin


def _hold_end(text: str) -> out.HoldEnd:
    return text if text in ("vacant", "day_part", "ever") else ms(text)  # type: ignore[return-value] # narrowed by `in`
