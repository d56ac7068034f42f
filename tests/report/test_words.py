"""Reasons and notes in words: none lacks them, and they say what a practitioner needs."""

from typing import Any, get_args
from zoneinfo import ZoneInfo

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leerie import notes, reasons, report
from leerie.now import Now

LONDON = ZoneInfo("Europe/London")
MINUTE_US = 60_000_000
AT_8_41 = 1_772_440_867_000_000
"""2026-03-02 08:41:07 UTC."""
AT_8_30 = AT_8_41 - 11 * MINUTE_US - 7_000_000
FIVE_DAYS_EARLIER = AT_8_41 - 5 * 1440 * MINUTE_US


def lamp(*steps: reasons.Step, level: float, switched: bool = False) -> reasons.LampReason:
    kelvin = next((step.kelvin for step in steps if isinstance(step, reasons.White)), None)
    return reasons.LampReason("bench", steps, level, kelvin, switched)


FALLS = reasons.Follows(0.8, 0.0, 20_000, 1.0, 100, 20_000, "log", 0.0)
FOLLOWS = reasons.Follows(0.35, 1.0, 8120, 0.83, 100, 20_000, "log", 0.89)

SENTENCES: list[tuple[reasons.Reason, str]] = [
    (reasons.StateReason("occupied", "present", "bench_radar", AT_8_41), "occupied: bench_radar present since 08:41"),
    (
        reasons.StateReason("occupied", "enclosed", "bench_radar", AT_8_41),
        "occupied: bench_radar present behind shut doors, and none has opened since 08:41",
    ),
    (
        reasons.StateReason("occupied", "no_sensors", None, AT_8_41),
        "occupied: always in use, it has no sensors to tell",
    ),
    (
        reasons.StateReason("occupied", "blind", None, AT_8_41),
        "occupied: every sensor out since 08:41, if_blind decides",
    ),
    (reasons.StateReason("grace", "ended", None, AT_8_41), "grace: nobody present since 08:41"),
    (reasons.StateReason("grace", "asked", None, AT_8_41), "grace: asked for at 08:41, nobody present"),
    (
        reasons.StateReason("grace", "started", None, AT_8_41),
        "grace: started at 08:41 without memory, no sensor has spoken",
    ),
    (reasons.StateReason("vacant", "time_up", None, AT_8_41), "vacant: nobody came back, the grace ended at 08:41"),
    (reasons.PartReason("working", AT_8_30), "day part working since 08:30"),
    (reasons.PartReason("working", None), "day part working"),
    (reasons.PartReason(None, None), "no day part holds"),
    (reasons.HoldReason("topic", AT_8_41, None, None), "held by message since 08:41: hands off"),
    (
        reasons.HoldReason("button", AT_8_41, 0.4, 2700),
        "held by button since 08:41: level 0.40 (16 % of its light), 2700 K",
    ),
    (reasons.HoldReason("hand", AT_8_41, 0.0, None), "held by hand since 08:41: off"),
    (reasons.AskReason(True, AT_8_41, "asked"), "light asked for at 08:41: scene asked"),
    (reasons.AskReason(False, AT_8_41, None), "dark asked for at 08:41"),
    (
        reasons.UntouchedReason(),
        "started without memory: lamps stay as they are until a sensor speaks or the grace is over",
    ),
    (
        lamp(FOLLOWS, reasons.White(4000, "scene", 4000), level=0.89),
        "bench: follows daylight 0.35–1.00, outdoor 8120 lx is 83 % of the way from 100 to 20000 lx (log)"
        " → level 0.89 (79 % of its light), 4000 K",
    ),
    (
        lamp(
            reasons.Base(0.6),
            reasons.Biased(-0.15, 0.51),
            reasons.Partial(0.7, 0.357),
            reasons.Warned(0.5, 0.1785),
            level=0.1785,
        ),
        "bench: 0.60 in the scene, × 0.85 by a bias of −0.15, × 0.70 by presence alone, × 0.50 as a warning"
        " → level 0.18 (3 % of its light)",
    ),
    (lamp(reasons.Base(0.05), level=0.05), "bench: 0.05 in the scene → level 0.05 (0.3 % of its light)"),
    (lamp(reasons.Unnamed(), level=0), "bench: not lit by the scene → off"),
    (lamp(reasons.Base(1), level=1, switched=True), "bench: 1.00 in the scene → on"),
    (
        lamp(reasons.Base(1), reasons.Partial(0.5, 0), level=0, switched=True),
        "bench: 1.00 in the scene, presence alone lights no switch → off",
    ),
    (lamp(reasons.Held(0.4), level=1, switched=True), "bench: held at 0.40, above 0 → on"),
    (lamp(reasons.Held(0.0), level=0, switched=True), "bench: held at 0.00 → off"),
    (
        lamp(reasons.Held(0.25), reasons.White(2200, "hold", 1800), level=0.25),
        "bench: held at 0.25 → level 0.25 (6 % of its light), 2200 K (the lamp's limit, the hold's is 1800 K)",
    ),
    (
        lamp(reasons.Base(0.5), reasons.White(2700, "part", 2700), level=0.5),
        "bench: 0.50 in the scene → level 0.50 (25 % of its light), 2700 K (the day part's)",
    ),
    (
        lamp(reasons.Base(0.5), reasons.White(3000, "site", 3000), level=0.5),
        "bench: 0.50 in the scene → level 0.50 (25 % of its light), 3000 K (the site's)",
    ),
    (
        reasons.SkyReason(24.25, 130.0, 35_000, 0.6, 0.868, 30_380, "sun", 16_769, 30_380),
        "sun 24.2° above the horizon, 35000 lx under a clear sky; cloud 0.60 (assumed) leaves 87 %: 30400 lx,"
        " 16800 lx of it from the sky",
    ),
    (
        reasons.SkyReason(-14.0, 250.0, 0.0742, 0.6, 0.868, 0.00742, "sun", 0.00742, 0.00742),
        "sun 14.0° below the horizon, 0.07 lx under a clear sky; cloud 0.60 (assumed) leaves 87 %: under 0.01 lx,"
        " under 0.01 lx of it from the sky",
    ),
    (
        reasons.SkyReason(-1.0, 250.0, 404.6, 0.25, 0.993, 401.9, "sun+cloud", 401.9, 401.9),
        "sun 1.0° below the horizon, 405 lx under a clear sky; cloud 0.25 (told) leaves 99 %: 402 lx, 402 lx of it"
        " from the sky",
    ),
    (
        reasons.SkyReason(24.25, 130.0, 35_000, 0.9, 0.476, 8_120, "sensor", 7_000, 12_400),
        "sun 24.2° above the horizon, 35000 lx under a clear sky; the sensor says 8120 lx, cloud 0.90 (by the sensor's"
        " reading), 7000 lx of it from the sky; the room goes by 12400 lx so far",
    ),
    (
        lamp(reasons.Base(0.0), reasons.Rested(0.01), level=0.01),
        "bench: 0.00 in the scene, at low-end trim, daylight must not put it out → level 0.01 (0.01 % of its light)",
    ),
    (
        lamp(FALLS, reasons.Rested(0.01, "daylight", AT_8_41), level=0.01),
        "bench: follows daylight 0.80–0.00, outdoor 20000 lx is 100 % of the way from 100 to 20000 lx (log), daylight"
        " does, at low-end trim until 2026-03-02 08:41 → level 0.01 (0.01 % of its light)",
    ),
    (
        lamp(FALLS, reasons.PutOut(), level=0),
        "bench: follows daylight 0.80–0.00, outdoor 20000 lx is 100 % of the way from 100 to 20000 lx (log), put out by"
        " daylight → off",
    ),
    (
        lamp(reasons.Maintains(500, 0.0, 500, 120, "meter", 30, 600, 0.583, 0.764), level=0.764),
        "bench: maintains 500 lx, less 120 lx of daylight by the room's meter and 30 lx of other lamps, of 600 lx at"
        " full that leaves 58 % → level 0.76 (58 % of its light)",
    ),
    (
        lamp(reasons.Maintains(500, 0.1, 605, 700, "factor", 0, 600, 0.0, 0.0), level=0),
        "bench: maintains 500 lx × 1.10² by a bias of +0.10, less 700 lx of daylight by the daylight factor, of 600 lx"
        " at full that leaves nothing → off",
    ),
    (
        lamp(
            reasons.Blended("working", "evening", 0.25, (reasons.Base(0.8),), (reasons.Base(0.4),), 0.7),
            reasons.White(3600, "part", 3600),
            level=0.7,
        ),
        "bench: 25 % of the way from working (0.80 in the scene) to evening (0.40 in the scene)"
        " → level 0.70 (49 % of its light), 3600 K (on the way)",
    ),
    (
        lamp(reasons.Base(0.5), reasons.White(4000, "scene", 4000, 12.5), level=0.5),
        "bench: 0.50 in the scene → level 0.50 (25 % of its light), 4000 K (with the sun at 12.5°)",
    ),
    (
        lamp(reasons.Base(0.5), reasons.White(2700, "scene", 2200, -3.0), level=0.5),
        "bench: 0.50 in the scene → level 0.50 (25 % of its light), 2700 K (the lamp's limit, the scene's is 2200 K,"
        " with the sun at −3.0°)",
    ),
    (
        lamp(reasons.Base(0.5), reasons.Coloured(0.17, 0.7), level=0.5),
        "bench: 0.50 in the scene → level 0.50 (25 % of its light), colour x 0.1700 y 0.7000",
    ),
]


@pytest.mark.parametrize(("reason", "sentence"), SENTENCES, ids=[sentence[:40] for _, sentence in SENTENCES])
def test_a_reason_reads_like_this(reason: reasons.Reason, sentence: str) -> None:
    assert report.because([reason], LONDON) == [sentence]


def _fields_of(kind: type, name: str) -> tuple[Any, ...]:
    """The words that a field of the struct can be."""
    field = next(field for field in msgspec.structs.fields(kind) if field.name == name)
    return get_args(field.type)


def test_no_reason_lacks_its_sentence() -> None:
    """Every kind of reason and step, and every cause, hand and owner of a white, stands in the table above."""
    known = [reason for reason, _ in SENTENCES]
    steps = [step for reason in known if isinstance(reason, reasons.LampReason) for step in reason.steps]
    assert {type(reason) for reason in known} == set(get_args(reasons.Reason))
    assert {type(step) for step in steps} == set(get_args(reasons.Step))
    causes = {reason.cause for reason in known if isinstance(reason, reasons.StateReason)}
    assert causes == set(_fields_of(reasons.StateReason, "cause"))
    hands = {reason.by for reason in known if isinstance(reason, reasons.HoldReason)}
    assert hands == set(_fields_of(reasons.HoldReason, "by"))
    owners = {step.source for step in steps if isinstance(step, reasons.White)}
    assert owners == set(_fields_of(reasons.White, "source"))


def test_a_time_of_another_date_stands_with_its_date() -> None:
    why = [reasons.HoldReason("topic", FIVE_DAYS_EARLIER, None, None), reasons.PartReason("working", AT_8_30)]
    assert report.because(why, LONDON) == [
        "held by message since 2026-02-25 08:41: hands off",
        "day part working since 08:30",
    ]


def test_times_are_the_sites() -> None:
    kiritimati = ZoneInfo("Pacific/Kiritimati")
    assert report.because([reasons.PartReason("late", AT_8_30)], kiritimati) == ["day part late since 22:30"]


@given(st.floats(0, 1))
def test_a_lit_lamps_level_never_reads_as_nothing(level: float) -> None:
    (sentence,) = report.because([lamp(reasons.Base(level), level=level)], LONDON)
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
            (reasons.PartReason("working", AT_8_30), lamp(reasons.Base(0.5), level=0.5)),
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
