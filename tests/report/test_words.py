"""Reasons and notes in words: none lacks them, and they say what a practitioner needs."""

from typing import Any, get_args
from zoneinfo import ZoneInfo

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leerie import notes, report
from leerie.now import Now

LONDON = ZoneInfo("Europe/London")
MINUTE_US = 60_000_000
AT_8_41 = 1_772_440_867_000_000
"""2026-03-02 08:41:07 UTC."""
AT_8_30 = AT_8_41 - 11 * MINUTE_US - 7_000_000
FIVE_DAYS_EARLIER = AT_8_41 - 5 * 1440 * MINUTE_US


def lamp(*steps: notes.Step, level: float, switched: bool = False) -> notes.LampReason:
    kelvin = next((step.kelvin for step in steps if isinstance(step, notes.White)), None)
    return notes.LampReason("bench", steps, level, kelvin, switched)


FOLLOWS = notes.Follows(0.35, 1.0, 8120, 0.83, 100, 20_000, "log", 0.89)

SENTENCES: list[tuple[notes.Reason, str]] = [
    (notes.StateReason("occupied", "present", "bench_radar", AT_8_41), "occupied: bench_radar present since 08:41"),
    (
        notes.StateReason("occupied", "enclosed", "bench_radar", AT_8_41),
        "occupied: bench_radar present behind shut doors, and none has opened since 08:41",
    ),
    (
        notes.StateReason("occupied", "no_sensors", None, AT_8_41),
        "occupied: always in use, it has no sensors to tell",
    ),
    (notes.StateReason("occupied", "blind", None, AT_8_41), "occupied: every sensor out since 08:41, if_blind decides"),
    (notes.StateReason("grace", "ended", None, AT_8_41), "grace: nobody present since 08:41"),
    (notes.StateReason("grace", "asked", None, AT_8_41), "grace: asked for at 08:41, nobody present"),
    (
        notes.StateReason("grace", "started", None, AT_8_41),
        "grace: started at 08:41 without memory, no sensor has spoken",
    ),
    (notes.StateReason("vacant", "time_up", None, AT_8_41), "vacant: nobody came back, the grace ended at 08:41"),
    (notes.PartReason("working", AT_8_30), "day part working since 08:30"),
    (notes.PartReason("working", None), "day part working"),
    (notes.PartReason(None, None), "no day part holds"),
    (notes.HoldReason("topic", AT_8_41, None, None), "held by message since 08:41: hands off"),
    (
        notes.HoldReason("button", AT_8_41, 0.4, 2700),
        "held by button since 08:41: level 0.40 (16 % of its light), 2700 K",
    ),
    (notes.HoldReason("hand", AT_8_41, 0.0, None), "held by hand since 08:41: off"),
    (notes.AskReason(True, AT_8_41, "asked"), "light asked for at 08:41: scene asked"),
    (notes.AskReason(False, AT_8_41, None), "dark asked for at 08:41"),
    (
        notes.UntouchedReason(),
        "started without memory: lamps stay as they are until a sensor speaks or the grace is over",
    ),
    (
        lamp(FOLLOWS, notes.White(4000, "scene", 4000), level=0.89),
        "bench: follows daylight 0.35–1.00, outdoor 8120 lx is 83 % of the way from 100 to 20000 lx (log)"
        " → level 0.89 (79 % of its light), 4000 K",
    ),
    (
        lamp(
            notes.Base(0.6),
            notes.Biased(-0.15, 0.51),
            notes.Partial(0.7, 0.357),
            notes.Warned(0.5, 0.1785),
            level=0.1785,
        ),
        "bench: 0.60 in the scene, × 0.85 by a bias of −0.15, × 0.70 by presence alone, × 0.50 as a warning"
        " → level 0.18 (3 % of its light)",
    ),
    (lamp(notes.Base(0.05), level=0.05), "bench: 0.05 in the scene → level 0.05 (0.2 % of its light)"),
    (lamp(notes.Unnamed(), level=0), "bench: not lit by the scene → off"),
    (lamp(notes.Base(1), level=1, switched=True), "bench: 1.00 in the scene → on"),
    (
        lamp(notes.Base(1), notes.Partial(0.5, 0), level=0, switched=True),
        "bench: 1.00 in the scene, presence alone lights no switch → off",
    ),
    (
        lamp(notes.Held(0.25), notes.White(2200, "hold", 1800), level=0.25),
        "bench: held at 0.25 → level 0.25 (6 % of its light), 2200 K (the lamp's limit, the hold's is 1800 K)",
    ),
    (
        lamp(notes.Base(0.5), notes.White(2700, "part", 2700), level=0.5),
        "bench: 0.50 in the scene → level 0.50 (25 % of its light), 2700 K (the day part's)",
    ),
    (
        lamp(notes.Base(0.5), notes.White(3000, "site", 3000), level=0.5),
        "bench: 0.50 in the scene → level 0.50 (25 % of its light), 3000 K (the site's)",
    ),
]


@pytest.mark.parametrize(("reason", "sentence"), SENTENCES, ids=[sentence[:40] for _, sentence in SENTENCES])
def test_a_reason_reads_like_this(reason: notes.Reason, sentence: str) -> None:
    assert report.because([reason], LONDON) == [sentence]


def _fields_of(kind: type, name: str) -> tuple[Any, ...]:
    """The words that a field of the struct can be."""
    field = next(field for field in msgspec.structs.fields(kind) if field.name == name)
    return get_args(field.type)


def test_no_reason_lacks_its_sentence() -> None:
    """Every kind of reason and step, and every cause, hand and owner of a white, stands in the table above."""
    reasons = [reason for reason, _ in SENTENCES]
    steps = [step for reason in reasons if isinstance(reason, notes.LampReason) for step in reason.steps]
    assert {type(reason) for reason in reasons} == set(get_args(notes.Reason))
    assert {type(step) for step in steps} | {notes.Rested} == set(get_args(notes.Step))
    causes = {reason.cause for reason in reasons if isinstance(reason, notes.StateReason)}
    assert causes == set(_fields_of(notes.StateReason, "cause"))
    hands = {reason.by for reason in reasons if isinstance(reason, notes.HoldReason)}
    assert hands == set(_fields_of(notes.HoldReason, "by"))
    owners = {step.source for step in steps if isinstance(step, notes.White)}
    assert owners == set(_fields_of(notes.White, "source"))


def test_an_escape_routes_lamp_says_why_it_is_not_dark() -> None:
    rested = msgspec.convert({"type": "rested", "level": 0.01}, notes.Rested)
    assert report.because([lamp(notes.Base(0.0), rested, level=0.01)], LONDON) == [
        "bench: 0.00 in the scene, at low-end trim, an escape route is never dark → level 0.01 (0.01 % of its light)"
    ]


def test_a_time_of_another_date_stands_with_its_date() -> None:
    reasons = [notes.HoldReason("topic", FIVE_DAYS_EARLIER, None, None), notes.PartReason("working", AT_8_30)]
    assert report.because(reasons, LONDON) == [
        "held by message since 2026-02-25 08:41: hands off",
        "day part working since 08:30",
    ]


def test_times_are_the_sites() -> None:
    kiritimati = ZoneInfo("Pacific/Kiritimati")
    assert report.because([notes.PartReason("late", AT_8_30)], kiritimati) == ["day part late since 22:30"]


@given(st.floats(0, 1))
def test_a_lit_lamps_level_never_reads_as_nothing(level: float) -> None:
    (sentence,) = report.because([lamp(notes.Base(level), level=level)], LONDON)
    assert sentence.endswith("→ off") == (level == 0)
    assert "level 0.00 " not in sentence
    assert "(0 %" not in sentence


# ---- log lines -------------------------------------------------------------------------------------------------------

NOW = Now(5_000, AT_8_41)
FAULT = notes.Fault("sensor_out", "stair_pir", AT_8_30, "stair_pir silent for 26h")
LINES: list[tuple[notes.Note, str, dict[str, Any]]] = [
    (
        notes.Heard("presence", "bench_radar", "true", False),
        "heard",
        {"kind": "presence", "source": "bench_radar", "value": "true", "retained": False},
    ),
    (
        notes.Refused("bench_radar", "unknown_word", '"maybe" is no word of it'),
        "refused",
        {"source": "bench_radar", "reason": "unknown_word", "text": '"maybe" is no word of it'},
    ),
    (
        notes.Moved("workshop", "vacant", "arriving", "glimpse", "door", NOW),
        "moved",
        {"room": "workshop", "before": "vacant", "after": "arriving", "by": "glimpse", "sensor": "door"},
    ),
    (
        notes.HoldBegun("workshop", "topic", 0.4, None, NOW),
        "hold_begun",
        {"room": "workshop", "by": "topic", "at_level": 0.4},
    ),
    (notes.HoldEnded("workshop", "time", NOW), "hold_ended", {"room": "workshop", "why": "time"}),
    (notes.NotHeld("workshop"), "not_held", {"room": "workshop"}),
    (
        notes.Decided(
            "workshop",
            "part",
            "occupied",
            "working",
            (notes.PartReason("working", AT_8_30), lamp(notes.Base(0.5), level=0.5)),
        ),
        "decided",
        {
            "room": "workshop",
            "cause": "part",
            "state": "occupied",
            "day_part": "working",
            "levels": {"bench": 0.5},
            "because": [
                "day part working since 08:30",
                "bench: 0.50 in the scene → level 0.50 (25 % of its light)",
            ],
        },
    ),
    (
        notes.Commanded("workshop", "bench", "drift", 0.5, 4000, 1),
        "commanded",
        {"room": "workshop", "fixture": "bench", "cause": "drift", "at_level": 0.5, "kelvin": 4000, "publishes": 1},
    ),
    (notes.Coalesced("bench"), "coalesced", {"fixture": "bench"}),
    (
        notes.Undelivered("bench", "lamps/bench/do"),
        "undelivered",
        {"fixture": "bench", "topic": "lamps/bench/do"},
    ),
    (
        notes.Faulted("workshop", FAULT),
        "faulted",
        {
            "room": "workshop",
            "code": "sensor_out",
            "what": "stair_pir",
            "since": "2026-03-02T08:30:00+00:00",
            "text": "stair_pir silent for 26h",
        },
    ),
    (
        notes.Recovered("workshop", FAULT),
        "recovered",
        {
            "room": "workshop",
            "code": "sensor_out",
            "what": "stair_pir",
            "since": "2026-03-02T08:30:00+00:00",
            "text": "stair_pir silent for 26h",
        },
    ),
    (notes.FalseOff("workshop", "occupied"), "false_off", {"room": "workshop", "after": "occupied"}),
]


@pytest.mark.parametrize(("note", "event", "fields"), LINES, ids=[event for _, event, _ in LINES])
def test_a_note_is_one_line(note: notes.Note, event: str, fields: dict[str, Any]) -> None:
    assert report.note_fields(note, LONDON) == (event, fields)


def test_no_note_lacks_its_line() -> None:
    assert {type(note) for note, _, _ in LINES} == set(get_args(notes.Note))


def test_no_field_takes_a_name_that_the_line_needs_for_itself() -> None:
    for note, _, _ in LINES:
        _, fields = report.note_fields(note)
        assert not {"event", "level", "timestamp"} & set(fields)
