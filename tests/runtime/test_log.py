"""The log: no line is forged, no secret gets out."""

import io
import json

from hypothesis import given
from hypothesis import strategies as st

from leerie.runtime import log


@given(st.text(), st.sampled_from(["json", "console"]))
def test_whatever_comes_from_outside_stays_in_its_line(text: str, form: str) -> None:
    stream = io.StringIO()
    log.make(form, stream=stream).warning("refused", text=text, more=[text, {"deep": text}])  # type: ignore[arg-type] # both are forms
    written = stream.getvalue()
    assert len(written.splitlines()) == 1
    assert written.rstrip("\n").isprintable()


def test_machines_get_json_and_people_do_not() -> None:
    stream = io.StringIO()
    log.make(None, stream=stream).info("settled", rooms=3)
    line = json.loads(stream.getvalue())
    assert (line["event"], line["rooms"], line["level"]) == ("settled", 3, "info")
    assert line["timestamp"].endswith("Z")
    people = io.StringIO()
    log.make("console", stream=people).info("settled", rooms=3)
    assert "settled" in people.getvalue()
    assert "{" not in people.getvalue()


@given(st.text(st.characters(codec="utf-8", exclude_categories=["C"]), min_size=6))
def test_no_secret_gets_out_wherever_it_turns_up(secret: str) -> None:
    stream = io.StringIO()
    logger = log.make("json", (secret,), stream)
    logger.error("event", why=f"before{secret}after", listed=[secret], fault=ValueError(secret))
    line = json.loads(stream.getvalue())
    assert line["why"] == f"before{log.HIDDEN}after" or secret in "before" + log.HIDDEN + "after"
    assert line["listed"] == [log.HIDDEN]
    assert line["fault"] == log.HIDDEN


def test_a_huge_value_is_cut() -> None:
    stream = io.StringIO()
    log.make("json", stream=stream).info("event", text="x" * 1_000_000)
    assert len(stream.getvalue()) < 2 * log.LONGEST
