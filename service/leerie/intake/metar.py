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


def cover(text: str) -> float | None:
    """Total cloud cover 0…1: that of the largest layer, since layers overlap. None: the report carries no amount.

    Raises Refusal for text that is no such report.
    """
    if len(text) > LONGEST:
        raise Refusal("too_large", f"{len(text)} characters; a METAR has at most {LONGEST}")
    words = text.upper().split()
    report = _parsed(" ".join(words))
    amounts = [AMOUNTS[word] for word, *_ in report.sky if word in AMOUNTS] if report is not None else []
    if amounts:
        return max(amounts)
    if CLEAR in words:
        return 0.0
    if report is None or not (report.sky or report.time or "CAVOK" in words):
        raise Refusal("unknown_word", f"{quoted(text)} is no METAR; allowed: a report, or groups such as FEW015 BKN040")
    return None


def _parsed(text: str) -> Metar | None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of each group that it cannot read, and most are not about clouds
        try:
            # A month and a year, so that it need not ask the clock for them; nothing here hangs on the date.
            return Metar(text, month=1, year=2000, strict=False)
        except Exception:  # noqa: BLE001 - whatever a stranger's text brings out of the library, it is no report
            return None
