"""The log: every event is documented, no line is forged, no secret gets out."""

import ast
import io
import json
import math
import os
import re
import shlex
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal, TypeAlias, get_args
from urllib.parse import quote, quote_plus
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from brokers import WITHIN_S, Mosquitto, Person, real_part
from houses import workshop
from leerie import notes, reasons, report
from leerie.config import load
from leerie.config.building import Building
from leerie.controller import Controller
from leerie.messages import Message
from leerie.now import MINUTE_MS, Now
from leerie.runtime import log
from leerie.runtime.log_events import EVENTS, FIELDS
from leerie.runtime.telling import QUIET, Teller

SERVICE = Path(log.__file__).parent.parent
Form: TypeAlias = Literal["console", "json"]
FORMS: tuple[Form, ...] = get_args(Form)

HOSTILE = [
    "two\nlines",
    "\r\n2026-03-02T08:41:07Z [error    ] connection lost",
    '"}\n{"event": "moved", "level": "info", "room": "hall"}',
    'x", "event": "moved',
    "hall reason=not_json text=forged",
    "room=hall",
    "' room='hall'",
    "a' b=\"c",
    "\\' room=hall \\",
    "\x1b[2J\x1b[31mred\x1b[0m",
    "\x9b31m",
    "\N{RIGHT-TO-LEFT OVERRIDE}kcolc\N{POP DIRECTIONAL FORMATTING}",
    "\N{LINE SEPARATOR}\N{PARAGRAPH SEPARATOR}\x85\x0b\x0c",
    "half \ud800 a character \udfff",
    "nothing\x00here",
    "\N{ZERO WIDTH SPACE}\N{NO-BREAK SPACE}\ufeff",
    "x" * 1_000_000,
    "\n" * 100_000,
    "",
    " ",
]
texts = st.one_of(st.text(), st.sampled_from(HOSTILE), st.text(st.sampled_from(" =\\'\"\n{},:ab\x1b")))


def told(form: Form, event: str = "refused", secrets: tuple[str, ...] = (), **fields: Any) -> str:
    stream = io.StringIO()
    log.make(form, secrets, stream).tell(event, **fields)
    return stream.getvalue()


# ---- every event is documented ---------------------------------------------------------------------------------------

NOW = Now(0, 0)
FAULT = notes.Fault("sensor_out", "radar", 0, "radar silent for 2h")
LIT = reasons.LampReason("bench", (reasons.Base(0.5),), 0.5, None, True)
NOTES: tuple[notes.Note, ...] = (
    notes.Heard("presence", "radar", "true", False),
    notes.Refused("radar", "unknown_word", "radar: …", ("hall",)),
    notes.Moved("hall", "vacant", "arriving", "glimpse", "radar", NOW),
    notes.HoldBegun("hall", "topic", 0.4, 2700, NOW),
    notes.HoldEnded("hall", "time", NOW),
    notes.NotHeld("hall"),
    notes.Decided("hall", "part", "occupied", "day", (LIT,)),
    notes.Commanded("hall", "bench", "drift", 0.5, 4000, 1),
    notes.Coalesced("bench"),
    notes.Undelivered("bench", "lamps/bench"),
    notes.Faulted("hall", FAULT),
    notes.Recovered("hall", FAULT),
    notes.FalseOff("hall", "occupied"),
)
"""One of each kind, nothing left out of it."""


def _told_in_the_code() -> Iterator[tuple[str, set[str]]]:
    """Event and fields of each call of a log's `tell` that names its event; the other is the notes'."""
    for path in sorted(SERVICE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and re.fullmatch(r"(self\.)?_?log(ger)?\.tell", ast.unparse(node.func)):
                event = node.args[0]
                if isinstance(event, ast.Constant):
                    yield str(event.value), {str(keyword.arg) for keyword in node.keywords}


def _told_of_notes() -> Iterator[tuple[str, set[str]]]:
    for note in NOTES:
        if not isinstance(note, QUIET):
            name, fields = report.note_fields(note)
            yield name.replace("_", " "), set(fields)


def test_the_code_tells_the_events_and_fields_of_the_table_and_no_others() -> None:
    assert {type(note) for note in NOTES} == set(get_args(notes.Note))
    found: dict[str, set[str]] = {}
    for event, fields in (*_told_in_the_code(), *_told_of_notes()):
        found.setdefault(event, set()).update(fields)
    assert found == {name: set(event.fields) for name, event in EVENTS.items()}


def test_nothing_logs_past_the_table() -> None:
    """Who wants a line has to go through `Log`: no other module has a logger."""
    logger = re.compile(r"\bstructlog\b|\bgetLogger\([^)]*\)\.(debug|info|warning|error|exception|critical|log)\b")
    found = [path.name for path in sorted(SERVICE.rglob("*.py")) if logger.search(path.read_text(encoding="utf-8"))]
    assert found == ["log.py"]


def test_every_field_is_explained_and_none_that_there_is_not() -> None:
    head = json.loads(told("json"))
    assert set(FIELDS) == {*head, *(field for event in EVENTS.values() for field in event.fields)}
    # The renderers treat these as tracebacks.
    assert not {"stack", "exception", "exc_info"} & set(FIELDS)


@pytest.mark.parametrize("event", EVENTS)
def test_each_event_has_its_level(event: str) -> None:
    assert json.loads(told("json", event))["level"] == EVENTS[event].level
    assert f"[{EVENTS[event].level} " in told("console", event)


def test_another_event_is_an_error_of_ours() -> None:
    with pytest.raises(KeyError):
        told("json", "refusd")


# ---- no line is forged -----------------------------------------------------------------------------------------------


def _columns(written: str) -> dict[str, str]:
    """The fields of a console line, as whoever reads it tells them apart: name=value, a value with a space quoted."""
    head, _, rest = written.rstrip("\n").partition("refused ")
    assert re.fullmatch(r"\d\d:\d\d:\d\d \[warning  \] ", head)
    field = r"(\w+)=('(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"|[^ ='\"]*)"
    assert re.fullmatch(rf" *{field}(?: {field})*", rest)
    return {
        name: ast.literal_eval(value) if value[:1] in "'\"" and value else value
        for name, value in re.findall(field, rest)
    }


def _stays_in_its_line(text: str, form: Form) -> None:
    written = told(form, text=text, more=[text, {text: text}], fault=ValueError(text))
    assert written.endswith("\n")
    assert len(written.splitlines()) == 1
    assert written[:-1].isprintable()
    assert len(written) < 8 * log.LONGEST


@given(texts, st.sampled_from(FORMS))
def test_whatever_comes_from_outside_stays_in_its_line(text: str, form: Form) -> None:
    _stays_in_its_line(text, form)


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("form", FORMS)
def test_the_worst_of_it_does_too(text: str, form: Form) -> None:
    _stays_in_its_line(text, form)


@given(texts, texts)
def test_no_value_can_be_taken_for_a_field(one: str, other: str) -> None:
    """Both forms tell the same fields with the same values, neither more nor fewer."""
    fields = {"reason": one, "source": other, "text": f"{one} {other}"}
    machines = json.loads(told("json", **fields))
    assert set(machines) == {"timestamp", "level", "event", *fields}
    assert _columns(told("console", **fields)) == {name: machines[name] for name in fields}


@given(texts)
def test_what_is_harmless_is_told_as_it_is(text: str) -> None:
    assume(text.isprintable() and len(text) <= log.LONGEST)
    assert json.loads(told("json", text=text))["text"] == text


@pytest.fixture(scope="module")
def building(tmp_path_factory: pytest.TempPathFactory) -> Building:
    return load(workshop(tmp_path_factory.mktemp("house"), 1883), {}).building


TOPICS = ("workshop/bench/radar", "workshop/button", "leerie/room/workshop/hold", "leerie/room/stair/bias")


@given(
    st.lists(
        st.tuples(
            st.one_of(st.sampled_from(TOPICS), texts),
            st.one_of(st.binary(), texts.map(lambda text: text.encode(errors="surrogatepass"))),
            st.booleans(),
        ),
        min_size=1,
        max_size=4,
    ),
    st.sampled_from(FORMS),
)
def test_a_message_on_any_topic_forges_nothing(
    building: Building, messages: list[tuple[str, bytes, bool]], form: Form
) -> None:
    """From the payload through the house to the log: as many lines as there is to tell, each a known event."""
    stream = io.StringIO()
    teller, controller = Teller(log.make(form, stream=stream), ZoneInfo("UTC")), Controller(building, {}, "boot")
    controller.linked(Now(1_000, 0))
    happened = [*controller.settled(Now(1_000, 0)).notes]
    for number, (topic, payload, retained) in enumerate(messages, 1):
        now = Now(1_000 + number * MINUTE_MS, number * MINUTE_MS * 1_000)
        happened += controller.receive(Message(topic, payload, retained), now).notes
    teller.tell(happened, Now(1_000, 0))
    lines = stream.getvalue().splitlines()
    assert all(line.isprintable() for line in lines)
    # What keeps being wrong in the same way is told once.
    loud = [note for note in happened if not isinstance(note, (*QUIET, notes.Refused))]
    faults = [note for note in loud if isinstance(note, notes.Faulted | notes.Recovered)]
    wrong = {(note.source, note.reason) for note in happened if isinstance(note, notes.Refused)}
    assert bool(faults) <= len(lines) - len(loud) + len(faults) - len(wrong) <= len(faults)
    if form == "json":
        assert {json.loads(line)["event"] for line in lines} <= set(EVENTS)
    else:
        names = "|".join(map(re.escape, EVENTS))
        assert all(re.match(rf"\d\d:\d\d:\d\d \[(info|warning) +\] ({names}) +\w+=", line) for line in lines)


def test_json_has_no_numbers_that_json_does_not_have() -> None:
    written = told("json", levels={"bench": math.nan}, because=[math.inf, -math.inf, 0.5, 1, True, None])
    line = json.loads(written, parse_constant=pytest.fail)
    assert (line["levels"], line["because"]) == ({"bench": "nan"}, ["inf", "-inf", 0.5, 1, True, None])


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "ascii"])
def test_json_stays_json_whatever_the_stream_can_write(encoding: str) -> None:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding, errors="backslashreplace")
    log.make("json", stream=stream).tell("refused", text="Café → 中")
    stream.flush()
    assert json.loads(raw.getvalue().decode(encoding))["text"] == "Café → 中"


def test_machines_get_json_and_people_do_not() -> None:
    stream = io.StringIO()
    log.make(None, stream=stream).tell("settled", rooms=3)
    line = json.loads(stream.getvalue())
    assert (line["event"], line["rooms"], line["level"]) == ("settled", 3, "info")
    assert line["timestamp"].endswith("Z")
    people = told("console", "settled", rooms=3)
    assert re.fullmatch(r"\d\d:\d\d:\d\d \[info     \] settled +rooms=3\n", people)


# ---- no secret gets out ----------------------------------------------------------------------------------------------

SECRETS = [
    "rosin-and-horsehair",
    'spruce "maple" \\ ebony',
    "it's pernambuco",
    "Geigenlack à l'huile 50% ½",
    "two\nlines\tand\x1b an escape",
    "percent%20and+plus&more=yes/ever@home:1",
    "$.*[a-z]+(",
]
PASSWORDS = st.text(st.characters(codec="utf-8"), min_size=6)


def _as_others_write_it(secret: str) -> list[str]:
    """As is, as Python shows texts and bytes, in JSON, in a URL, and with its control characters escaped."""
    escaped = "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in secret)
    return [
        secret, escaped, repr(secret)[1:-1], repr(secret.encode())[2:-1], json.dumps(secret)[1:-1],
        json.dumps(secret, ensure_ascii=False)[1:-1], quote(secret, safe=""), quote_plus(secret),
    ]  # fmt: skip


@given(PASSWORDS, st.sampled_from(FORMS), st.sampled_from(tuple(EVENTS)))
@example(SECRETS[1], "json", "connection lost")
@example(SECRETS[2] + ' "', "json", "connection lost")
@example(SECRETS[3], "json", "refused")
@example(SECRETS[4], "json", "refused")
@example(SECRETS[5], "console", "stopped")
def test_no_secret_gets_out_wherever_it_turns_up(secret: str, form: Form, event: str) -> None:
    written = _as_others_write_it(secret)
    # What stands in every line is no secret's doing.
    innocent = told(form, event, why="mqtt://leerie:@", listed=["", {"": ""}], fault="") + f"<{log.HIDDEN}>"
    assume(not any(text in innocent for text in written))
    url = f"mqtt://leerie:{quote(secret, safe='')}@127.0.0.1:1883"
    values = [*written, *(f"<{text}>" for text in written), f"{secret}{secret}", url]
    said = told(form, event, (secret,), why=" ".join(values), listed=[*values, {secret: values}], fault=OSError(secret))
    # Both renderings double a backslash; so what was rendered is looked at, too.
    read = [*_texts_in(json.loads(said))] if form == "json" else []
    assert [text for text in written if any(text in piece for piece in (said, *read))] == []
    assert log.HIDDEN in said


def _texts_in(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from _texts_in([*value.keys(), *value.values()])
    elif isinstance(value, list):
        for item in value:
            yield from _texts_in(item)


@given(PASSWORDS)
def test_the_rest_of_the_line_stays(secret: str) -> None:
    assume(secret not in "before" + log.HIDDEN + "after")
    line = json.loads(told("json", secrets=(secret,), why=f"before{secret}after", listed=[secret]))
    assert (line["why"], line["listed"]) == (f"before{log.HIDDEN}after", [log.HIDDEN])


def test_of_two_secrets_the_longer_is_hidden_whole() -> None:
    assert json.loads(told("json", secrets=("rosin", "rosin-and"), why="rosin-and rosin"))["why"] == "(hidden) (hidden)"


def _configured(folder: Path, port: int, way: str, password: str) -> tuple[Path, dict[str, str]]:
    """A config whose password comes in that way, and the environment for it."""
    environ = {name: value for name, value in os.environ.items() if not name.startswith("LEERIE_")}
    login = 'username = "leerie"'
    match way:
        case "environment":
            environ["LEERIE_BROKER__PASSWORD"] = password
        case "secrets folder":
            secrets = folder / "secrets"
            secrets.mkdir()
            (secrets / "leerie_broker__password").write_text(password, encoding="utf-8")
            environ["LEERIE_SECRETS_DIR"] = str(secrets)
        case "password_file":
            (folder / "password").write_text(password, encoding="utf-8")
            (folder / "password").chmod(0o600)
            login += f'\npassword_file = "{folder / "password"}"'
        case _:
            login += f"\npassword = {json.dumps(password)}"
    return workshop(folder, port, login), environ


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A broker that lets in who knows another password than ours."""
    folder = tmp_path_factory.mktemp("broker")
    passwords = folder / "passwords"
    make = [real_part("mosquitto_passwd"), "-b", "-c", passwords, "leerie", "another one"]
    subprocess.run(make, check=True, capture_output=True)
    with Mosquitto(folder, ("allow_anonymous false", f"password_file {passwords}")) as mosquitto:
        yield mosquitto


def _said(config: Path, environ: dict[str, str], form: Form) -> str:
    """All that `leerie run` says until it has been turned away, and when it is then told to stop."""
    words = [sys.executable, "-m", "leerie", "run", "--config", str(config)]
    environ = environ | {"LEERIE_SERVICE__LOG": form}
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=environ, text=True) as running:
        assert running.stdout is not None
        late = threading.Timer(WITHIN_S, running.kill)
        late.start()
        said = ""
        for heard in running.stdout:
            said += heard
            if "not connected, trying again" in heard:
                running.terminate()
        late.cancel()
    assert running.returncode == 0, said
    return said


WAYS = ("environment", "secrets folder", "password_file", "config")


@pytest.mark.broker
@pytest.mark.parametrize(
    ("way", "secret", "form"),
    [(WAYS[number % 4], secret, FORMS[number // 2 % 2]) for number, secret in enumerate([*SECRETS, "ebony" * 13_000])],
)
def test_a_wrong_password_is_nowhere_on_the_screen(
    guarded: Mosquitto, tmp_path: Path, way: str, secret: str, form: Form
) -> None:
    said = _said(*_configured(tmp_path, guarded.port, way, secret), form)
    assert "with this password" in said
    assert [text for text in _as_others_write_it(secret) if text in said] == []


# ---- a log that cannot be written ------------------------------------------------------------------------------------


@pytest.mark.broker
@pytest.mark.parametrize("stderr", ["full", "gone", "none"])
def test_light_goes_on_without_a_log(tmp_path: Path, stderr: str) -> None:
    """A full disk, a reader who has left, no stderr at all."""
    with Mosquitto(tmp_path) as mosquitto, Person(mosquitto.port, "lamps/#", "leerie/#") as person:
        config = workshop(tmp_path, mosquitto.port)
        ending = {"full": "2>/dev/full", "gone": "2>&1 | true", "none": "2>&-"}[stderr]
        command = f"exec {shlex.quote(sys.executable)} -m leerie run --config {config} {ending}"
        with subprocess.Popen(["bash", "-c", command], process_group=0) as process:
            person.hears("leerie/service", lambda heard: bool(heard.value["running"]))
            for payload in ("true", "false", "true"):
                person.say("workshop/bench/radar", payload)
                person.say("workshop/bench/radar", "nonsense")
            person.hears("lamps/bench/do")
            person.say("leerie/room/workshop/ask", "dark")
            person.hears("leerie/room/workshop/state", lambda heard: bool(heard.value["asked"] == "dark"))
            os.killpg(process.pid, signal.SIGTERM)
        assert person.hears("leerie/service", lambda heard: heard.value == {"running": False})
