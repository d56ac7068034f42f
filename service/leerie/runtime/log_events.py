"""Every event that the log can tell, its fields and what they mean: the README's tables, and all that `Log` accepts.

The notes that are no more than counted (see telling.py) have no event here.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

import msgspec


class LogEvent(msgspec.Struct, frozen=True):
    level: Literal["info", "warning", "error"]
    fields: tuple[str, ...]
    """Those that say nothing are left out of a line."""
    meaning: str


EVENTS: Mapping[str, LogEvent] = MappingProxyType(
    {
        # ---- the daemon and its broker
        "leerie begins": LogEvent("info", ("version", "site", "rooms"), "The config is read; leerie starts."),
        "connected": LogEvent("info", ("broker", "mqtt"), "The broker has let leerie in."),
        "records found": LogEvent(
            "info", ("rooms", "of"), "So many rooms go on where they stopped; the others begin in grace."
        ),
        "settled": LogEvent(
            "info", ("rooms",), "All that the broker kept has been heard; from here on leerie decides and commands."
        ),
        "connection lost": LogEvent(
            "warning", ("broker", "why"), "Until the broker is back, lamps stay as they are. leerie tries by itself."
        ),
        "not connected, trying again": LogEvent(
            "error", ("broker", "why"), "No connection came about; told once for each new reason."
        ),
        "the broker does not let us publish": LogEvent(
            "error", ("topic",), "The broker's access list keeps leerie from saying what stands on this topic."
        ),
        "the broker does not serve us, its access list may say why": LogEvent(
            "error", ("topic",), "What is said on this topic does not reach leerie."
        ),
        (
            "another leerie, begun later, runs on the same topics: this one stops; give each its own broker.topics"
        ): LogEvent(
            "error", ("client_id", "other"), "Two would fight over the lamps, so the older one gives way and exits 1."
        ),
        "the clock is not known to be right": LogEvent(
            "warning",
            (),
            "Nothing keeps it right, and the machine has not run for `service.trust_clock_after` or the clock is before"
            " the last record: until it is known, no day part holds, and a room goes by its last one.",
        ),
        "the clock is known to be right": LogEvent("info", (), "From here on day parts hold again."),
        "reloaded": LogEvent("info", ("rooms", "new", "gone", "changed"), "The config was read anew and holds now."),
        "reload refused": LogEvent(
            "error", ("why",), "The config was read anew and is not right; leerie goes on with the one it has."
        ),
        "stopped": LogEvent("info", (), "A clean end, by a signal or to give way."),
        # ---- the page and the folder
        "scrape page": LogEvent("info", ("address",), "The page and the metrics can be read here."),
        "no scrape page": LogEvent("warning", ("why",), "There is no page and no metrics; all else goes on."),
        "no records in the folder": LogEvent(
            "error", ("why", "so"), "`service.state_dir` cannot be used; all else goes on."
        ),
        "the folder's records were damaged": LogEvent(
            "error", ("set_aside",), "They stand aside under this name; the broker's records are used."
        ),
        "records are not written to the folder": LogEvent(
            "error", ("why", "so"), "Told once, until it works again; each change is tried anew."
        ),
        "records are written to the folder again": LogEvent("info", (), "Whatever kept them from it is over."),
        "the journal is not written": LogEvent(
            "error", ("why",), "What is heard is not kept for rehearsing. All else goes on, and leerie tries again."
        ),
        "the journal is written again": LogEvent("info", (), "Whatever kept it from being written is over."),
        "the journal was damaged or of another version": LogEvent(
            "error", ("set_aside",), "It stands aside under this name, and a new one is begun."
        ),
        # ---- the rooms
        "decided": LogEvent(
            "info",
            ("room", "cause", "state", "day_part", "levels", "because"),
            "What the room's lamps should be was worked out, and something of it is new.",
        ),
        "moved": LogEvent(
            "info",
            ("room", "before", "after", "by", "sensor"),
            "The room's occupancy moved, whether or not a hold hides it.",
        ),
        "hold begun": LogEvent(
            "info", ("room", "by", "at_level", "kelvin"), "Somebody has taken the room over; no level is hands off."
        ),
        "hold ended": LogEvent("info", ("room", "why"), "The room has been given back."),
        "false off": LogEvent(
            "info", ("room", "after"), "Somebody was there within 60 s of going dark by itself: is the grace too short?"
        ),
        "refused": LogEvent(
            "warning",
            ("source", "reason", "text", "rooms"),
            "A message was refused whole and changed nothing; told once a minute for each source and reason.",
        ),
        "undelivered": LogEvent(
            "warning", ("fixture", "topic"), "The broker refused a lamp's command; its access list may say why."
        ),
        "faulted": LogEvent(
            "warning",
            ("room", "code", "what", "since", "text"),
            "Something is wrong in the room; its code says what to do.",
        ),
        "recovered": LogEvent("info", ("room", "code", "what", "since", "text"), "It is no longer wrong."),
        "left out": LogEvent(
            "warning",
            ("what", "whom", "times"),
            "So many lines more would have been told in the last minute, the newest of which follows: does something "
            "chatter? The metrics count all.",
        ),
    }
)
"""By name, in the order in which people meet them."""

FIELDS: Mapping[str, str] = MappingProxyType(
    {
        "timestamp": "when: RFC 3339 in UTC; on a terminal the machine's own time of day",
        "level": "`info`, `warning` or `error`",
        "event": "the name in the table above",
        "address": "where the page is served",
        "after": "occupancy after the move; with `false off`, the state whose grace had run out",
        "at_level": "the hold's level, 0…1",
        "because": "each lamp's reasons, in words, as in the room's state",
        "before": "occupancy before the move",
        "broker": "host and port",
        "by": "what moved occupancy (DEVELOPERS.md has the table); with `hold begun`, `topic` or `button`",
        "cause": "why the room was looked at: `occupancy`, `part`, `drift`, `ask`, `bias`, `hold`, …",
        "changed": "the rooms that are not as they were",
        "client_id": "the one that leerie connects with",
        "code": "which fault it is",
        "day_part": "the part of the day that the room goes by",
        "fixture": "the lamp's key in the config",
        "gone": "the rooms that are no more: their topics are cleared, their lamps told off once",
        "kelvin": "the hold's white, K",
        "levels": "each lamp's level, 0…1",
        "mqtt": "the version of the protocol",
        "new": "the rooms that there were not before",
        "of": "how many rooms there are",
        "other": "what the other leerie says of itself",
        "reason": "why a message was refused, in one word",
        "room": "the room's key in the config",
        "rooms": "how many; with `refused`, their keys",
        "sensor": "the sensor that brought it about",
        "set_aside": "the name under which the file stands aside",
        "since": "since when it is wrong, RFC 3339",
        "site": "the config's `site.name`",
        "so": "what follows from it",
        "source": "the key of the sensor or the room that the message was for, or the feed; `unknown`: nobody's",
        "state": "the room's state",
        "text": "what is wrong, in words: what was found, and what is allowed",
        "topic": "the topic concerned",
        "version": "leerie's",
        "times": "how many lines",
        "what": "the sensor or room that is at fault; with `left out`, the event",
        "whom": "the room or the lamp that it happens to",
        "why": "the reason, in words; with `hold ended`, `end`, `time`, `vacant`, `day_part` or `ask`",
    }
)
"""A field means the same in every event. The first three stand in each line."""
