"""Cloud cover from an aerodrome's report. The reports are invented; what their words mean is the WMO's."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leerie.config.building import Feed
from leerie.daylight.sky import cloud_factor
from leerie.intake.feeds import feed
from leerie.intake.inputs import Read
from leerie.intake.metar import cover
from leerie.intake.refusal import Refusal
from leerie.messages import Message

REPORT = "METAR EGPF 251350Z 24012KT 9999 {clouds} 08/04 Q1012 NOSIG"


@pytest.mark.parametrize(
    ("clouds", "eighths", "factor"),
    [
        ("SKC", 0, 1.0),
        ("FEW015", 1.5, 0.9975),
        ("SCT020CB", 3.5, 0.9549),
        ("BKN040", 6, 0.7180),
        ("OVC008", 8, 0.25),
        ("VV001", 8, 0.25),
        ("FEW015 BKN040 SCT100", 6, 0.7180),
    ],
)
def test_the_largest_layer_is_the_cover(clouds: str, eighths: float, factor: float) -> None:
    """FEW 1-2, SCT 3-4, BKN 5-7, OVC 8 eighths: WMO Codes Registry 49-2; the factor by Kasten & Czeplak (1980) of the
    middle of each.
    """
    for text in (REPORT.format(clouds=clouds), clouds, clouds.lower(), f"  {clouds}=\n"):
        assert cover(text) == eighths / 8
    assert cloud_factor(eighths / 8) == pytest.approx(factor, abs=1e-4)


@pytest.mark.parametrize("clouds", ["CLR", "NSC", "NCD", "CAVOK", "", "///", "//////CB"])
def test_what_carries_no_amount_tells_no_cover(clouds: str) -> None:
    """CLR, by a machine: none below 12 000 ft. NSC, NCD and CAVOK: none that matters (from memory)."""
    assert cover(REPORT.format(clouds=clouds)) is None


@pytest.mark.parametrize(
    "text", ["", "hello", "75", "{}", "sunny spells", "rain", "x" * 2_000, "TAF EGPF 251100Z 2512/2612 BKN030"]
)
def test_text_that_is_no_report_is_refused(text: str) -> None:
    with pytest.raises(Refusal):
        cover(text)


def test_what_is_forecast_or_remarked_is_not_the_cover_now() -> None:
    """What follows BECMG or TEMPO is a forecast for two hours, what follows RMK is for the country's own use (from
    memory).
    """
    assert cover(REPORT.format(clouds="FEW015").replace("NOSIG", "BECMG OVC008")) == 1.5 / 8
    assert cover(REPORT.format(clouds="FEW015").replace("NOSIG", "TEMPO BKN014")) == 1.5 / 8
    assert cover(REPORT.format(clouds="NSC").replace("NOSIG", "BECMG SKC")) is None
    assert cover(REPORT.format(clouds="CLR").replace("NOSIG", "RMK SKC OVC")) is None


@given(st.text(alphabet="FEWSCTBKNOVCSKLR0123456789/ +-=QZ\n", max_size=120) | st.text(max_size=200))
def test_no_text_brings_anything_but_a_cover_or_a_refusal(text: str) -> None:
    try:
        found = cover(text)
    except Refusal:
        return
    assert found is None or 0 <= found <= 1


def test_a_feed_in_metar_is_read_by_its_pointer() -> None:
    read = feed("cloud", Feed("sky", ("raw",), 1, "metar"))
    assert read(Message("sky", b'{"raw": "EGPF 251350Z 24012KT 9999 SCT030 08/04 Q1012"}')) == Read("cloud", 3.5 / 8)
    assert read(Message("sky", b'{"raw": "EGPF 251350Z 24012KT CAVOK 08/04 Q1012"}')) == Read("cloud", None)
    with pytest.raises(Refusal):
        read(Message("sky", b'{"raw": null}'))
