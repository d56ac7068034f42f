"""What people wish: buttons, holds, asks, bias. All are events; each message is taken or refused as a whole."""

import json

import pytest

from leerie.intake.inputs import AskWish, BiasWish, HoldWish, Pressed
from leerie.intake.payloads import fields
from leerie.intake.refusal import Refusal
from leerie.notes import Refused

HOLD, ASK, BIAS = (f"leerie/room/workshop/{wish}" for wish in ("hold", "ask", "bias"))
MINUTE_MS = 60_000


@pytest.mark.parametrize(
    ("value", "deed"),
    [
        ('"short"', "ask light"),
        ('" Double "', "ask dark"),
        ('"LONG"', "hold toggle"),
        ('"up"', "raise"),
        ("1", "hold end"),
        ("1.0", "hold end"),
        ('"triple"', None),
        ('""', None),
        ("null", None),
        ("7", None),
    ],
)
def test_a_button_does_what_its_value_is_named_for(take, value: str, deed: str | None) -> None:
    assert take("workshop/wall", f'{{"press": {value}}}') == Pressed("wall_button", deed)


def test_a_button_may_send_the_bare_word(take) -> None:
    assert take("workshop/bell", "Short") == Pressed("bare_button", "ask light")


@pytest.mark.parametrize(
    ("payload", "reason"),
    [("short", "not_json"), ("{}", "no_value"), ('{"press": []}', "wrong_type"), (b"\xff", "not_utf8")],
)
def test_a_button_nobody_understands_is_refused(take, payload: bytes | str, reason: str) -> None:
    assert take("workshop/wall", payload).reason == reason


@pytest.mark.parametrize(
    ("payload", "wish"),
    [
        ("toggle", HoldWish("workshop", "toggle", None, None, None)),
        (" Start\n", HoldWish("workshop", "start", None, None, None)),
        ("END", HoldWish("workshop", "end", None, None, None)),
        ('{"hold": true}', HoldWish("workshop", "start", None, None, None)),
        ('{"hold": false}', HoldWish("workshop", "end", None, None, None)),
        ('{"hold": true, "for": "90m"}', HoldWish("workshop", "start", 90 * MINUTE_MS, None, None)),
        ('{"hold": true, "for": "1H30M"}', HoldWish("workshop", "start", 90 * MINUTE_MS, None, None)),
        ('{"hold": true, "for": " Vacant "}', HoldWish("workshop", "start", "vacant", None, None)),
        ('{"hold": true, "for": "day_part"}', HoldWish("workshop", "start", "day_part", None, None)),
        ('{"hold": true, "for": "ever", "level": 0}', HoldWish("workshop", "start", "ever", 0.0, None)),
        ('{"hold": true, "level": 1}', HoldWish("workshop", "start", None, 1.0, None)),
        ('{"level": 0.4, "kelvin": 2700, "hold": true}', HoldWish("workshop", "start", None, 0.4, 2700)),
        ('{"hold": true, "level": 0.4, "kelvin": 2700.0}', HoldWish("workshop", "start", None, 0.4, 2700)),
    ],
)
def test_a_hold_is_taken(take, payload: str, wish: HoldWish) -> None:
    assert take(HOLD, payload) == wish


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ("begin", "unknown_word"),
        ("true", "unknown_word"),
        ("1", "unknown_word"),
        ('"toggle"', "unknown_word"),
        ("[true]", "unknown_word"),
        ("{}", "no_value"),
        ('{"level": 0.5}', "no_value"),
        ('{"hold": 1}', "wrong_type"),
        ('{"hold": "true"}', "wrong_type"),
        ('{"hold": null}', "wrong_type"),
        ('{"hold": true, "colour": 3}', "unknown_key"),
        ('{"hold": true, "Level": 0.5}', "unknown_key"),
        ('{"hold": true, "scene": "reading"}', "unknown_key"),
        ('{"hold": true, "hold": false}', "not_json"),
        ('{"hold": true, "level": 0.2, "level": 0.9}', "not_json"),
        ('{"hold": true, "level": true}', "wrong_type"),
        ('{"hold": true, "level": "0.5"}', "wrong_type"),
        ('{"hold": true, "level": null}', "wrong_type"),
        ('{"hold": true, "level": [0.5]}', "wrong_type"),
        ('{"hold": true, "level": 1.01}', "out_of_range"),
        ('{"hold": true, "level": -0.01}', "out_of_range"),
        ('{"hold": true, "level": 1e400}', "not_json"),
        ('{"hold": true, "level": NaN}', "not_json"),
        ('{"hold": true, "kelvin": 2700}', "no_value"),
        ('{"hold": true, "level": 0.5, "kelvin": 999}', "out_of_range"),
        ('{"hold": true, "level": 0.5, "kelvin": 20001}', "out_of_range"),
        ('{"hold": true, "level": 0.5, "kelvin": 2700.5}', "wrong_type"),
        ('{"hold": true, "level": 0.5, "kelvin": "2700"}', "wrong_type"),
        ('{"hold": true, "level": 0.5, "kelvin": false}', "wrong_type"),
        ('{"hold": true, "level": 0.5, "kelvin": 1' + "0" * 300 + "}", "out_of_range"),
        ('{"hold": true, "for": "0s"}', "out_of_range"),
        ('{"hold": true, "for": "3651d"}', "unknown_word"),
        ('{"hold": true, "for": "-5m"}', "unknown_word"),
        ('{"hold": true, "for": "soon"}', "unknown_word"),
        ('{"hold": true, "for": ""}', "unknown_word"),
        ('{"hold": true, "for": "90"}', "unknown_word"),
        ('{"hold": true, "for": 90}', "wrong_type"),
        ('{"hold": true, "for": null}', "wrong_type"),
        ('{"hold": false, "for": "90m"}', "unknown_key"),
        ('{"hold": false, "level": 0.5}', "unknown_key"),
        ('{"hold": true', "not_json"),
        (b"\xff\xfe", "not_utf8"),
        ("{" * 10_000, "too_deep"),
        ("t" * 2**20, "too_large"),
    ],
)
def test_a_hold_is_refused_whole(take, payload: bytes | str, reason: str) -> None:
    refused = take(HOLD, payload)
    assert isinstance(refused, Refused)
    assert (refused.source, refused.reason, refused.rooms) == ("workshop/hold", reason, ("workshop",))


def test_a_key_within_a_text_is_no_second_key(take) -> None:
    """Only a string with a colon after it is a key."""
    assert take(HOLD, '{"hold" : true, "for" : "ever"}') == HoldWish("workshop", "start", "ever", None, None)
    assert take(HOLD, '{"hold": true, "for": "x\\", \\"for\\": "}').reason == "unknown_word"


@pytest.mark.parametrize(("payload", "light"), [("light", True), (" DARK ", False)])
def test_an_ask_is_taken(take, payload: str, light: bool) -> None:
    assert take(ASK, payload) == AskWish("workshop", light)


@pytest.mark.parametrize("payload", ["on", "{}", "true", "lights", '"light"'])
def test_an_ask_for_something_else_is_refused(take, payload: str) -> None:
    refused = take(ASK, payload)
    assert refused.reason == "unknown_word"
    assert refused.text.endswith("allowed: light, dark")


@pytest.mark.parametrize(
    ("payload", "bias", "ends"),
    [
        ("-0.15", -0.15, "ever"),
        ("0", 0.0, "ever"),
        ("1", 1.0, "ever"),
        (" +0.5 ", 0.5, "ever"),
        ('{"bias": -0.9}', -0.9, "ever"),
        ('{"bias": -0.15, "for": "vacant"}', -0.15, "vacant"),
        ('{"for": "2h", "bias": 0.1}', 0.1, 120 * MINUTE_MS),
        ('{"bias": 0, "for": "DAY_PART"}', 0.0, "day_part"),
    ],
)
def test_a_bias_is_taken(take, payload: str, bias: float, ends: object) -> None:
    assert take(BIAS, payload) == BiasWish("workshop", bias, ends)


def test_no_bias_is_minus_nothing(take) -> None:
    assert str(take(BIAS, "-0").bias) == "0.0"
    assert str(take(BIAS, '{"bias": -0.0}').bias) == "0.0"


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ("dimmer", "wrong_type"),
        ("true", "wrong_type"),
        ("nan", "wrong_type"),
        ("inf", "wrong_type"),
        ("1e400", "wrong_type"),
        ("[0.1]", "wrong_type"),
        ("-0.91", "out_of_range"),
        ("1.01", "out_of_range"),
        ("9" * 5000, "wrong_type"),
        ("{}", "no_value"),
        ('{"bias": "0.1"}', "wrong_type"),
        ('{"bias": true}', "wrong_type"),
        ('{"bias": 2}', "out_of_range"),
        ('{"bias": 0.1, "for": "0m"}', "out_of_range"),
        ('{"bias": 0.1, "until": "vacant"}', "unknown_key"),
    ],
)
def test_a_bias_is_refused(take, payload: str, reason: str) -> None:
    assert take(BIAS, payload).reason == reason


@pytest.mark.parametrize(
    ("topic", "payload"),
    [(HOLD, "toggle"), (HOLD, "?"), (ASK, "light"), (BIAS, "0.1"), ("workshop/bell", "short")],
)
def test_a_retained_event_is_refused_with_how_to_clear_it(take, topic: str, payload: str) -> None:
    refused = take(topic, payload, retained=True)
    assert refused.reason == "retained_event"
    assert refused.text.endswith(f"publish an empty retained message to {topic}")


@pytest.mark.parametrize("topic", [HOLD, ASK, BIAS, "workshop/bell", "workshop/wall"])
def test_clearing_a_retained_event_says_nothing(take, topic: str) -> None:
    """MQTT 3.1.1, 3.3.1.3: subscribers get the empty message that removes a retained one."""
    assert take(topic, b"") is None


def test_refusals_say_what_is_allowed(take) -> None:
    assert take(HOLD, "Begin").text == 'workshop/hold: "Begin"; allowed: start, end, toggle, {"hold": true, …}'
    assert take(HOLD, json.dumps({"hold": True, "level": 7})).text == "workshop/hold: level 7; allowed: 0 to 1"
    assert take(HOLD, json.dumps({"hold": True, "hue": 7})).text == (
        'workshop/hold: unknown key "hue"; allowed: hold, for, level, kelvin'
    )
    assert take(HOLD, json.dumps({"hold": True, "for": "later"})).text == (
        'workshop/hold: for "later"; allowed: a duration such as "90m" (at most 3650d), vacant, day_part, ever'
    )


def test_fields_stand_in_an_object() -> None:
    with pytest.raises(Refusal) as refusal:
        fields("[1]", ("hold",))
    assert refusal.value.reason == "wrong_type"
