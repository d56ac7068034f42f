"""The house keeps its own rules: short functions, one way through, a core that gives the same answer every time."""

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SERVICE = ROOT / "service" / "leerie"
MODULES = sorted(SERVICE.rglob("*.py"))
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
CORE_NAMES = next(
    contract["source_modules"]
    for contract in PROJECT["tool"]["importlinter"]["contracts"]
    if contract["type"] == "forbidden"
)
CORE = [
    path
    for path in MODULES
    if "leerie." + path.relative_to(SERVICE).parts[0].removesuffix(".py") in [*CORE_NAMES, "leerie.report"]
]
LONGEST_FUNCTION = 60
LONGEST_MODULE = 300
CLOCKS = ("now", "today", "utcnow", "fromtimestamp")
"""What datetime and date offer to read this machine's clock or zone."""


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _functions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def _length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return (function.end_lineno or function.lineno) - function.lineno + 1


def _is_set(node: ast.expr, sets: tuple[str, ...]) -> bool:
    if isinstance(node, ast.Name):
        return node.id in sets
    called = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("set", "frozenset")
    return called or isinstance(node, ast.Set | ast.SetComp)


def _sets(tree: ast.Module) -> tuple[str, ...]:
    """Names that are bound to a set somewhere in the module."""
    names: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and _is_set(node.value, ()):
            names += [target.id for target in node.targets if isinstance(target, ast.Name)]
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and node.value is not None:
            names += [node.target.id] if _is_set(node.value, ()) else []
        elif isinstance(node, ast.arg) and re.match(
            r"(frozen)?set\b", ast.unparse(node.annotation or ast.Name("")), re.IGNORECASE
        ):
            names.append(node.arg)
    return tuple(names)


def uncertainties(source: str) -> list[str]:
    """Places where the same input could give another output: hash(), a set's order, the machine's clock."""
    tree = ast.parse(source)
    sets = _sets(tree)
    found: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("hash", "id"):
            found.append(f"line {node.lineno}: {node.func.id}() differs from run to run")
        elif isinstance(node, ast.For | ast.comprehension) and _is_set(node.iter, sets):
            found.append(f"line {node.iter.lineno}: a set has no order; sort it or keep a dict")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in CLOCKS:
            owner = ast.unparse(node.func.value)
            zoned = node.func.attr == "fromtimestamp" and len(node.args) + len(node.keywords) == 2
            if owner.split(".")[-1] in ("datetime", "date") and not zoned:
                found.append(f"line {node.lineno}: {owner}.{node.func.attr}() asks the machine")
    return found


@pytest.mark.parametrize(
    "source",
    [
        "x = hash('room')",
        "for lamp in {'a', 'b'}: pass",
        "seen = set()\nlamps = [lamp for lamp in seen]",
        "def f(rooms: frozenset[str]):\n    for room in rooms: pass",
        "from datetime import datetime\nt = datetime.now()",
    ],
)
def test_an_uncertainty_is_seen(source: str) -> None:
    assert uncertainties(source)


def test_what_is_certain_is_left_alone() -> None:
    assert not uncertainties(
        "seen = {1, 2}\nok = 3 in seen\nfor x in sorted(seen): pass\nt = datetime.fromtimestamp(1, UTC)"
    )


@pytest.mark.parametrize("path", CORE, ids=_name)
def test_the_core_gives_the_same_answer_every_time(path: Path) -> None:
    assert uncertainties(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_a_module_is_read_in_one_sitting(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert len(source.splitlines()) <= LONGEST_MODULE
    long = [f"{f.name} ({_length(f)} lines)" for f in _functions(ast.parse(source)) if _length(f) > LONGEST_FUNCTION]
    assert long == []


def test_data_walks_one_way() -> None:
    """The layers and the core's forbidden imports, as pyproject.toml draws them."""
    linter = Path(sys.executable).with_name("lint-imports")
    judged = subprocess.run([linter, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert judged.returncode == 0, judged.stdout + judged.stderr


def _texts() -> Iterator[tuple[str, str]]:
    """Every text of the repository that is, or would be, committed."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode != 0:
        pytest.skip("not a git checkout: there is no list of what is committed")
    for name in filter(None, listed.stdout.split("\0")):
        path = ROOT / name
        if path.is_file() and name != "LICENSE":
            yield name, path.read_text(encoding="utf-8")


HOSTS = re.compile(r"py[p]i\.org|python[h]osted|deb\.debian\.[o]rg|registry\.[n]pmjs|(?:docker|ghcr|quay)\.[i]o/")
"""Written so that this line is none."""
PLACES = re.compile(r"(?<![\w.)])/(?:work|root|home/[a-z]+|tmp)/|[A-Z]:\\Users")
EXCUSE = re.compile(r"#\s*(?:noqa|type: ignore|pragma: no cover)\S*(?P<rest>.*)$")


def _lines(name: str, text: str) -> Iterator[tuple[str, str]]:
    return ((f"{name}:{number}", line) for number, line in enumerate(text.splitlines(), 1))


def test_no_file_names_a_registry_or_a_place_on_one_machine() -> None:
    found = [
        where
        for name, text in _texts()
        for where, line in _lines(name, text)
        if HOSTS.search(line) or PLACES.search(line)
    ]
    assert found == []


def test_every_excuse_has_its_reason() -> None:
    """`noqa`, `type: ignore` and `no cover` each say why on the same line."""
    found = []
    for name, text in _texts():
        if not name.endswith(".py") or (ROOT / name) == Path(__file__):
            continue
        for where, line in _lines(name, text):
            excuse = EXCUSE.search(line)
            if excuse is not None and len(re.sub(r"[^a-z]", "", excuse["rest"].lower())) < 3:
                found.append(f"{where}: {line.strip()}")
    assert found == []


def test_tests_wait_for_events_and_never_sleep() -> None:
    asleep = re.compile(r"\b(?:time|asyncio)\." r"sleep\(|from time import .*\bsleep\b")
    found = [
        where
        for name, text in _texts()
        if name.startswith("tests/")
        for where, line in _lines(name, text)
        if asleep.search(line)
    ]
    assert found == []
