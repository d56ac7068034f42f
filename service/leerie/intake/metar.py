"""Cloud cover out of an aviation weather report (METAR, SPECI) or out of its cloud groups alone."""

import warnings

from metar.Metar import Metar

from leerie.intake.refusal import Refusal, quoted

LONGEST = 1_000
"""Characters; reports are a third of it at most."""
AMOUNTS = {"FEW": 1.5 / 8, "SCT": 3.5 / 8, "BKN": 6 / 8, "OVC": 1.0, "VV": 1.0}
"""Cover (fraction) in the middle of what each word stands for: FEW 1-2 eighths, SCT 3-4, BKN 5-7, OVC 8 (WMO Codes
Registry 49-2, cloud amount reported at aerodrome); VV: the sky is totally obscured."""
CLEAR = "SKC"
"""An observer saw no cloud at all. CLR, NSC, NCD and CAVOK only say that none was found low enough to matter to
aircraft: they carry no amount."""
NO_LAYER = "CLR"
"""What the library makes of either word."""
FORECAST = "TAF"


def cover(text: str) -> float | None:
    """Total cloud cover 0…1: that of the largest layer, since layers overlap. None: the report carries no amount.

    Raises Refusal for text that is no such report.
    """
    if len(text) > LONGEST:
        raise Refusal("too_large", f"{len(text)} characters; a METAR has at most {LONGEST}")
    words = text.upper().replace("=", " ").split()
    report = None if FORECAST in words else _parsed(" ".join(words))
    if report is None or not (report.sky or report.time or "CAVOK" in words):
        raise Refusal("unknown_word", f"{quoted(text)} is no METAR; allowed: a report, or groups such as FEW015 BKN040")
    layers = [word for word, *_ in report.sky]
    amounts = [AMOUNTS[word] for word in layers if word in AMOUNTS]
    if NO_LAYER in layers and next(word for word in [*words, NO_LAYER] if word in (CLEAR, NO_LAYER)) == CLEAR:
        amounts.append(0.0)
    return max(amounts, default=None)


def _parsed(text: str) -> Metar | None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of each group that it cannot read, and most are not about clouds
        try:
            # A month and a year, so that it need not ask the clock for them; nothing here hangs on the date.
            return Metar(text, month=1, year=2000, strict=False)
        except Exception:  # noqa: BLE001 - whatever a stranger's text brings out of the library, it is no report
            return None
