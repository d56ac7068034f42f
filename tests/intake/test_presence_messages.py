"""What presence, motion and door sensors, their online topics and batteries say."""

import pytest

from leerie.intake.inputs import BatterySaid, OnlineSaid, Said
from leerie.notes import Refused


@pytest.mark.parametrize(
    ("payload", "present"),
    [
        ('{"target": true}', True),
        ('{"target": false}', False),
        ('{"target": 1}', True),
        ('{"target": 1.0}', True),
        ('{"target": 0}', False),
        ('{"target": -0.0}', False),
        ('{"target": "1.0"}', True),
        ('{"target": "  OCCUPIED\\n"}', True),
        ('{"target": "Unoccupied", "other": [1, {}]}', False),
        ('  {"target": "yes"}  ', True),
        ('{"target": false, "target": true}', True),
    ],
)
def test_a_value_at_a_pointer_says_present_or_absent(take, payload: str, present: bool) -> None:
    assert take("workshop/bench/radar", payload) == Said("bench_radar", present, retained=False)


@pytest.mark.parametrize(("payload", "open_"), [("open", True), ("Closed", False), (" OPEN\r\n", True)])
def test_without_a_pointer_the_whole_payload_is_the_value(take, payload: str, open_: bool) -> None:
    assert take("workshop/door", payload) == Said("door", open_, retained=False)


def test_a_value_that_says_both_says_present(take) -> None:
    """1 stands in both lists of the attic's eye."""
    assert take("attic/eye", "1") == Said("attic_eye", present=True, retained=False)
    assert take("attic/eye", "0.50") == Said("attic_eye", present=True, retained=False)
    assert take("attic/eye", "0") == Said("attic_eye", present=False, retained=False)


@pytest.mark.parametrize(
    ("grams", "present"),
    [("20", True), ("20.5", True), ('"31"', True), ("4.99", False), ("-1e2", False), ('"0"', False)],
)
def test_ranges_take_numbers_and_numeric_text(intake, message, grams: str, present: bool) -> None:
    said, other = intake.take(message("glue/pot", f'{{"grams": {grams}, "zones": [0, {{"degrees": 40}}]}}'))
    assert said == Said("glue_mat", present, retained=False)
    assert other == Said("varnish_warm", present=True, retained=False)


@pytest.mark.parametrize("grams", ["10", "true", "null", '"nan"', '"inf"', '"0x20"', '"1_000"', '""', "[]", '"٢٥"'])
def test_what_is_no_number_within_a_range_is_refused(intake, message, grams: str) -> None:
    said, other = intake.take(message("glue/pot", f'{{"grams": {grams}, "zones": [0, {{"degrees": 40}}]}}'))
    assert isinstance(said, Refused)
    assert said.reason in ("unknown_word", "no_value", "wrong_type")
    assert isinstance(other, Said), "one reader's refusal is not the other's"


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ('{"target": "maybe"}', "unknown_word"),
        ('{"target": 2}', "unknown_word"),
        ('{"target": ""}', "unknown_word"),
        ('{"target": null}', "no_value"),
        ('{"other": true}', "no_value"),
        ("[true]", "no_value"),
        ("3", "no_value"),
        ('{"target": {}}', "wrong_type"),
        ('{"target": [true]}', "wrong_type"),
        ("true", "no_value"),
        ("on", "not_json"),
        ("", "not_json"),
        ('{"target": true', "not_json"),
        ('{"target": true,}', "not_json"),
        ('{"target": NaN}', "not_json"),
        ('{"target": -Infinity}', "not_json"),
        ('{"target": 1e400}', "not_json"),
        ('{"target": "\\ud800"}', "not_json"),
        (b'{"target": "\xff"}', "not_utf8"),
        (b"\xed\xa0\x80", "not_utf8"),
        (b"\x00\x00", "not_json"),
        ("[" * 10_000, "too_deep"),
        ('{"a":' * 10_000 + "1" + "}" * 10_000, "too_deep"),
        ('{"target":true,"x":' + "[" * 32 + "]" * 32 + "}", "too_deep"),
        ("x" * 2**20, "too_large"),
        ('{"target":true}' + " " * 2**20, "too_large"),
    ],
)
def test_anything_else_is_refused(take, payload: bytes | str, reason: str) -> None:
    refused = take("workshop/bench/radar", payload)
    assert isinstance(refused, Refused)
    assert (refused.source, refused.reason, refused.rooms) == ("bench_radar", reason, ("workshop",))


def test_json_is_read_to_its_limits(take) -> None:
    """As deep as allowed, and brackets within strings are none."""
    deep = '{"target":true,"x":' + "[" * 31 + "]" * 31 + "}"
    assert take("workshop/bench/radar", deep) == Said("bench_radar", present=True, retained=False)
    brackets = '{"target":true,"x":"' + "[{" * 1000 + '\\"[[["}'
    assert take("workshop/bench/radar", brackets) == Said("bench_radar", present=True, retained=False)
    flat = '{"target":true,"x":[' + ",".join(["[]"] * 5000) + "]}"
    assert take("workshop/bench/radar", flat) == Said("bench_radar", present=True, retained=False)


def test_a_refusal_names_what_was_found_and_what_is_allowed(take) -> None:
    refused = take("workshop/door", "ajar")
    assert refused == Refused(
        "door", "unknown_word", 'door: "ajar" says neither open (open) nor shut (closed)', rooms=("workshop",)
    )
    bounds = take("attic/eye", "0.7")
    assert bounds.text == 'attic_eye: "0.7" says neither present (1, 0.5) nor absent (0, 1)'


def test_a_refusal_shows_bytes_that_are_no_text(take) -> None:
    assert take("workshop/door", b"\xff\xfe").text == "door: bytes ff fe are no UTF-8 text"
    assert take("workshop/door", b"\xff" * 99).text == f"door: bytes {'ff ' * 16}… are no UTF-8 text"


def test_a_refusal_shows_where_json_breaks(take) -> None:
    assert take("workshop/bench/radar", "on").text == 'bench_radar: "on" is no JSON (invalid character (byte 0))'


def test_a_refusal_is_one_short_printable_line(take) -> None:
    """Neither line ends nor escape sequences nor marks that turn the reading direction get out of it."""
    refused = take("workshop/door", "\x1b[2Jajar\u202e\n\u2028" + "w" * 5000)
    assert refused.text.isprintable()
    assert len(refused.text) < 200
    assert refused.text.startswith('door: "\\u001b[2Jajar\\u202e\\n\\u2028www')


def test_a_sensor_that_two_rooms_use_concerns_both(take) -> None:
    assert take("stair/pir", "?").rooms == ("workshop", "stairs")


def test_retained_presence_is_taken_as_a_value(take) -> None:
    assert take("workshop/bench/radar", '{"target": true}', retained=True) == Said("bench_radar", True, True)
    assert take("workshop/door", "open", retained=True) == Said("door", True, True)


def test_a_pulse_is_an_event_and_its_end_a_value(take) -> None:
    assert take("stair/pir", "motion") == Said("stair_pir", present=True, retained=False)
    assert take("stair/pir", "clear", retained=True) == Said("stair_pir", present=False, retained=True)
    refused = take("stair/pir", "motion", retained=True)
    assert refused.reason == "retained_event"
    assert "publish an empty retained message to stair/pir" in refused.text


def test_clearing_a_retained_pulse_says_nothing(take) -> None:
    """MQTT 3.1.1, 3.3.1.3: subscribers get the empty message that removes a retained one."""
    assert take("stair/pir", b"") is None


def test_an_empty_message_says_neither_open_nor_shut(take) -> None:
    assert take("workshop/door", b"").reason == "unknown_word"


@pytest.mark.parametrize("retained", [False, True])
def test_online_and_battery(take, retained: bool) -> None:
    assert take("workshop/bench/up", "UP", retained=retained) == OnlineSaid("bench_radar", online=True)
    assert take("workshop/bench/up", "lost", retained=retained) == OnlineSaid("bench_radar", online=False)
    assert take("workshop/bench/cell", '{"percent": 15}', retained=retained) == BatterySaid("bench_radar", low=True)
    assert take("workshop/bench/cell", '{"percent": "15.1"}', retained=retained) == BatterySaid(
        "bench_radar", low=False
    )


def test_an_unknown_online_word_and_a_battery_without_a_number_are_refused(take) -> None:
    assert take("workshop/bench/up", "sleepy").reason == "unknown_word"
    assert take("workshop/bench/cell", '{"percent": "low"}').reason == "wrong_type"
    assert take("workshop/bench/cell", '{"percent": true}').reason == "wrong_type"
    assert take("workshop/bench/cell", '{"percent": null}').reason == "no_value"
    assert take("workshop/bench/cell", '{"percent": 1' + "0" * 400 + "}").reason in ("not_json", "wrong_type")
