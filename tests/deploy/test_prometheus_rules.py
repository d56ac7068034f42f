"""deploy/prometheus by Prometheus' own tool: is it right, and does each alert fire when it should and only then?

`promtool` of Prometheus 2.42 and newer (Debian 12: package prometheus). The cases stand in alerts.yml beside this.
"""

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml
from scraping import DASHBOARDS, PROMETHEUS, panels

import write_docs
from brokers import real_part
from leerie.cli.main import COMMANDS
from leerie.runtime.log_events import EVENTS

CASES = Path(__file__).with_name("alerts.yml")
PATIENCE_S = 120
RUNBOOK = (PROMETHEUS / "RUNBOOK.md").read_text(encoding="utf-8")


def read(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(path.read_text(encoding="utf-8"))
    return found


RULES = [rule for name in ("recording", "alerts") for rule in read(PROMETHEUS / f"{name}.yml")["groups"][0]["rules"]]
ALERTS = {rule["alert"]: rule for rule in RULES if "alert" in rule}


def promtool(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [real_part("promtool"), *words], capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )


def test_the_config_and_the_rules_are_right() -> None:
    """`check config` reads the rules that it names, too."""
    done = promtool("check", "config", PROMETHEUS / "prometheus.yml")
    assert (done.returncode, done.stderr) == (0, "")
    assert f"{len(list(PROMETHEUS.glob('*.yml'))) - 1} rule files found" in done.stdout


def test_alerts_fire_when_they_should_and_only_then() -> None:
    done = promtool("test", "rules", CASES)
    assert (done.returncode, done.stdout + done.stderr) == (0, f"Unit Testing:  {CASES}\n  SUCCESS\n\n")


@pytest.mark.parametrize(
    ("alert", "right", "wrong"),
    [
        ("LeerieGone", "for: 2m", "for: 1m"),
        ("LeerieRestartsOften", "[1h]) > 3", "[1h]) > 4"),
        ("LeerieBrokerLost", "last_over_time(leerie_broker_connected[1m])", "leerie_broker_connected"),
        ("LeerieLampNotTold", "_undelivered_total[1h])) > 0", "_undelivered_total[1h])) > 1.5"),
        ("LeerieClockDoubtful", "abs(leerie_clock_timestamp_seconds -", "(leerie_clock_timestamp_seconds -"),
        ("LeerieClockDoubtful", "timestamp(leerie_clock_timestamp_seconds)", "time()"),
    ],
)
def test_the_cases_would_say_so(tmp_path: Path, alert: str, right: str, wrong: str) -> None:
    """A rule that is a little different fails one of them."""
    shutil.copytree(PROMETHEUS, tmp_path / "deploy" / "prometheus")
    rules = tmp_path / "deploy" / "prometheus" / "alerts.yml"
    text = rules.read_text(encoding="utf-8")
    assert right in text
    rules.write_text(text.replace(right, wrong), encoding="utf-8")
    cases = read(CASES)
    # Those of the alert that is changed: all of them take a while.
    cases["tests"] = [case for case in cases["tests"] if alert in str(case)]
    cases["rule_files"] = ["deploy/prometheus/alerts.yml"]
    path = tmp_path / "cases.yml"
    path.write_text(yaml.safe_dump(cases), encoding="utf-8")
    assert promtool("test", "rules", path).returncode != 0


def test_each_alert_has_a_case_that_fires_and_one_that_does_not() -> None:
    checks = [check for case in read(CASES)["tests"] for check in case.get("alert_rule_test", ())]
    for name in ALERTS:
        assert {bool(check.get("exp_alerts")) for check in checks if check["alertname"] == name} == {True, False}, name
    assert {check["alertname"] for check in checks} == {*ALERTS}


def test_each_recorded_series_has_a_case() -> None:
    asked = str([check["expr"] for case in read(CASES)["tests"] for check in case.get("promql_expr_test", ())])
    by_alerts = str([rule["expr"] for rule in ALERTS.values()])
    recorded = [rule["record"] for rule in RULES if "record" in rule]
    assert recorded
    assert [name for name in recorded if name not in asked + by_alerts] == []


@pytest.mark.parametrize("name", ALERTS)
def test_each_alert_has_its_paragraph_in_the_runbook(name: str) -> None:
    rule = ALERTS[name]
    assert rule["annotations"]["runbook"] == f"RUNBOOK.md#{name.lower()}"
    assert rule["labels"].keys() == {"severity"}
    assert rule["labels"]["severity"] in ("urgent", "soon")
    (paragraph,) = re.findall(rf"^## {name}$(.*?)(?=^## |\Z)", RUNBOOK, re.MULTILINE | re.DOTALL)
    assert re.findall(r"^\*\*(.+?):\*\*", paragraph, re.MULTILINE) == ["Means", "Look at", "Do"]


def test_the_runbook_has_no_other_paragraphs_and_names_only_what_there_is() -> None:
    assert re.findall(r"^## (.+)$", RUNBOOK, re.MULTILINE) == [*ALERTS]
    commands = re.findall(r"`leerie (\w+)[^`]*`", RUNBOOK)
    assert len(commands) > 5
    assert [name for name in commands if name not in COMMANDS and f"leerie {name}" not in EVENTS] == []
    shown = {panel["title"] for path in DASHBOARDS for panel in panels(path)}
    named = re.findall(r"panel \*(.+?)\*", RUNBOOK)
    assert named
    assert {*named} <= shown


def test_rules_ask_only_for_metrics_that_there_are() -> None:
    there = {write_docs.exposed(family) for family in write_docs.families()}
    recorded = {rule["record"] for rule in RULES if "record" in rule}
    for rule in RULES:
        asked = re.findall(r"[a-z]+:leerie_\w+:\w+|\bleerie_\w+|\bprocess_\w+", rule["expr"])
        assert asked or "up{" in rule["expr"]
        assert {*asked} <= there | recorded
