"""What a sensor of the building would send: the payloads that the config says it takes, made from that same config."""

import json

from leerie.config.building import Battery, Feed, Match, Online, Pointer, Sensor

OKTAS = 8


def sensor_says(sensor: Sensor, *, present: bool) -> bytes:
    """Present or absent, motion or none, open or shut; with battery and online where they share the topic."""
    words = {sensor.pointer: _value(sensor.present if present else sensor.absent)}
    if sensor.battery is not None and sensor.battery.topic == sensor.topic:
        words[sensor.battery.pointer] = _full(sensor.battery)
    if sensor.online is not None and sensor.online.topic == sensor.topic:
        words[sensor.online.pointer] = _value(sensor.online.present)
    return _document(words)


def button_says(sensor: Sensor, value: str) -> bytes:
    return _document({sensor.pointer: value})


def online_says(online: Online) -> bytes:
    return _document({online.pointer: _value(online.present)})


def battery_says(battery: Battery) -> bytes:
    return _document({battery.pointer: _full(battery)})


_GROUPS = ("", "FEW", "FEW", "SCT", "SCT", "BKN", "BKN", "BKN", "OVC")
"""Cloud groups of a METAR by eighths (WMO Codes Registry 49-2)."""


def feed_says(feed: Feed, value: float) -> bytes:
    """`value`: cloud cover 0…1, or outdoor lux; told in the feed's own unit."""
    told: dict[str, float | str] = {
        "fraction": round(value, 3),
        "percent": round(100 * value),
        "okta": round(OKTAS * value),
        "metar": f"{group}025" if (group := _GROUPS[round(OKTAS * value)]) else "SKC",
        "lux": float(f"{value:.3g}"),
    }
    return _document({feed.pointer: told[feed.unit]})


def _full(battery: Battery) -> float:
    return battery.low + 60


def _value(match: Match) -> object:
    """Something that matches: its first word, as JSON would have it, or a number well within its bound."""
    least = match.at_least if match.at_least is not None else match.above
    most = match.at_most if match.at_most is not None else match.below
    if least is not None:
        return least + 1
    if most is not None:
        return most / 2 if most > 0 else most - 1
    word = match.words[0]
    try:
        return json.loads(word)
    except ValueError:
        return word


def _document(values: dict[Pointer, object]) -> bytes:
    """A bare value without a pointer, else a JSON document with each value where its pointer points."""
    if list(values) == [None]:
        (value,) = values.values()
        return (value if isinstance(value, str) else json.dumps(value)).encode()
    root: dict[str, object] = {}
    for pointer, value in values.items():
        table = root
        *path, last = pointer or ("value",)
        for key in path:
            table = table.setdefault(key, {})  # type: ignore[assignment]  # only tables are put at inner keys
        table[last] = value
    return json.dumps(root, separators=(",", ":")).encode()
