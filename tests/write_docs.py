"""Writes what the documents copy from the code: `.venv/bin/python tests/write_docs.py`; test_docs.py checks it."""

import re
from argparse import Action
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

from prometheus_client import Metric

from leerie import config
from leerie.cli import main
from leerie.config import load
from leerie.occupancy import table
from leerie.report.codes import FAULTS, REFUSALS
from leerie.runtime.log_events import EVENTS, FIELDS
from leerie.runtime.metrics import Metrics

ROOT = Path(__file__).parent.parent
DOCUMENTS = (ROOT / "README.md", ROOT / "DEVELOPERS.md")
BLOCK = re.compile(r"(?<=<!-- table: )(\w+) -->\n.*?(?=<!-- end -->)", re.DOTALL)

Rows = Iterable[tuple[str, ...]]


def markdown(head: tuple[str, ...], rows: Rows) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(cell.replace("|", r"\|") for cell in line) + " |" for line in lines)


def code(*words: str) -> str:
    return ", ".join(f"`{word}`" for word in words)


# ---- commands --------------------------------------------------------------------------------------------------------


def arguments(command: str) -> list[Action]:
    """What the command takes, `--config` and `-h` included."""
    parser = main._parser((command,))
    (commands,) = (action.choices for action in parser._actions if action.dest == "command")
    assert isinstance(commands, Mapping)
    return list(commands[command]._actions)


def spelling(action: Action) -> str:
    """As one writes it: `--for DURATION`, `ROOM`, `start|end|toggle`."""
    value = action.metavar or "|".join(map(str, action.choices or ()))
    return " ".join(word for word in (*action.option_strings[-1:], value) if word)


def told(action: Action) -> str:
    """Its help, as argparse writes it out."""
    return (action.help or "") % vars(action)


def _commands() -> Iterator[tuple[str, ...]]:
    shared = {"-h", "--help", "--config"}
    (where,) = (action for action in arguments("run") if "--config" in action.option_strings)
    yield "each", code(spelling(where)), told(where)
    for name, summary in main.COMMANDS.items():
        own = [action for action in arguments(name) if not shared & set(action.option_strings)]
        own.sort(key=lambda action: bool(action.option_strings))
        words = [spelling(action) for action in own if not action.option_strings]
        yield code(" ".join(("leerie", name, *words))), "", summary
        # A room is a room in each; said once, below.
        yield from (("", code(spelling(action)), told(action)) for action in own if action.dest != "room")


# ---- metrics ---------------------------------------------------------------------------------------------------------


def families() -> list[Metric]:
    """Every metric of the example's daemon."""
    example = load(Path(config.__file__).with_name("example.toml"), {}).building
    return list(Metrics(example).registry.collect())


def exposed(family: Metric) -> str:
    """The name as it stands on the page."""
    return family.name + {"counter": "_total", "info": "_info"}.get(family.type, "")


def labels(family: Metric) -> tuple[str, ...]:
    named = getattr(family, "_labelnames", ()) or (name for sample in family.samples for name in sample.labels)
    return tuple(name for name in dict.fromkeys(named) if name != "le")


def _metrics() -> Iterator[tuple[str, ...]]:
    for family in sorted(families(), key=exposed):
        yield code(exposed(family)), family.type, code(*labels(family)), family.documentation


# ---- all of them -----------------------------------------------------------------------------------------------------

TABLES: Mapping[str, Callable[[], str]] = {
    "commands": lambda: markdown(("command", "takes", ""), _commands()),
    "faults": lambda: markdown(
        ("code", "what is wrong", "what to do"),
        ((code(name), fault.what, fault.remedy) for name, fault in FAULTS.items()),
    ),
    "refusals": lambda: markdown(
        ("reason", "what was wrong", "what to look at"),
        ((code(name), refusal.what, refusal.remedy) for name, refusal in REFUSALS.items()),
    ),
    "events": lambda: markdown(
        ("event", "level", "fields", "what it tells"),
        ((code(name), event.level, code(*event.fields), event.meaning) for name, event in EVENTS.items()),
    ),
    "fields": lambda: markdown(("field", "what it holds"), ((code(name), text) for name, text in FIELDS.items())),
    "metrics": lambda: markdown(("metric", "type", "labels", "what it tells"), _metrics()),
    "occupancy": table.markdown,
}


def blocks(text: str) -> list[str]:
    """The names of the text's marked blocks."""
    return [block[1] for block in BLOCK.finditer(text)]


def with_tables(text: str) -> str:
    """The text with each block between <!-- table: NAME --> and <!-- end --> as the code has it."""
    return BLOCK.sub(lambda block: f"{block[1]} -->\n\n{TABLES[block[1]]().strip()}\n\n", text)


if __name__ == "__main__":
    for document in DOCUMENTS:
        document.write_text(with_tables(document.read_text(encoding="utf-8")), encoding="utf-8")
