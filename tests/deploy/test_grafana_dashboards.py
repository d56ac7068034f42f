"""The dashboards: as their code has them, complete, and of metrics that there are.

Grafana itself does not run here: its own typed SDK reads them back. That their queries are answered,
test_prometheus_scrapes.py sees.
"""

import json
import re
import subprocess
import sys
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import yaml
from deployed import DEPLOY
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.models.dashboard import Dashboard
from scraping import DASHBOARDS, PROMETHEUS, dashboard, panels, queries

import write_docs

GRAFANA = DEPLOY / "grafana"
COLUMNS = 24


def test_they_are_as_their_code_has_them(tmp_path: Path) -> None:
    """`.venv/bin/python -m deploy.grafana.boards` brings them up to date."""
    subprocess.run([sys.executable, "-m", "deploy.grafana.boards", tmp_path], cwd=DEPLOY.parent, check=True)
    written = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert written == {path.name: path.read_bytes() for path in DASHBOARDS}


def test_their_addresses_stay() -> None:
    """Bookmarks and links hold on to them."""
    assert {path.stem: dashboard(path)["uid"] for path in DASHBOARDS} == {
        name: f"leerie-{name}" for name in ("house", "room", "operation")
    }
    texts = "".join(path.read_text(encoding="utf-8") for path in DASHBOARDS)
    assert {*re.findall(r'"/d/([^?"]+)', texts)} == {"leerie-room"}


@pytest.mark.parametrize("path", DASHBOARDS, ids=lambda path: path.stem)
def test_the_sdk_reads_in_them_what_it_wrote(path: Path) -> None:
    """No key that it does not know, none that it misses."""
    read = dashboard(path)
    back = json.loads(json.dumps(Dashboard.from_json(read), cls=JSONEncoder))
    assert back == read


@pytest.mark.parametrize("path", DASHBOARDS, ids=lambda path: path.stem)
def test_every_panel_says_what_it_shows_and_in_which_unit(path: Path) -> None:
    found = panels(path)
    assert len(found) >= 10
    for panel in found:
        assert panel["title"]
        assert re.fullmatch(r"[A-Z].{20,}\.", panel["description"], re.DOTALL), panel["title"]
        assert panel["fieldConfig"]["defaults"]["unit"], panel["title"]
        assert panel["targets"], panel["title"]
        sources = [panel["datasource"], *(target["datasource"] for target in panel["targets"])]
        assert all(source == {"type": "prometheus", "uid": "prometheus"} for source in sources)
        assert len({target["refId"] for target in panel["targets"]}) == len(panel["targets"])
    assert len({panel["title"] for panel in found}) == len(found)


@pytest.mark.parametrize("path", DASHBOARDS, ids=lambda path: path.stem)
def test_panels_fill_the_grid_and_lie_on_no_other(path: Path) -> None:
    every = dashboard(path)["panels"]
    assert len({panel["id"] for panel in every}) == len(every)
    places = [panel["gridPos"] for panel in every]
    assert [place for place in places if place["x"] + place["w"] > COLUMNS] == []
    assert not any(_overlap(one, other) for one, other in combinations(places, 2))
    lines = {place["y"] for place in places}
    assert {line: sum(place["w"] for place in places if place["y"] == line) for line in lines} == dict.fromkeys(
        lines, COLUMNS
    )


def _overlap(one: dict[str, int], other: dict[str, int]) -> bool:
    return all(
        one[start] < other[start] + other[size] and other[start] < one[start] + one[size]
        for start, size in (("x", "w"), ("y", "h"))
    )


def test_they_ask_only_for_metrics_that_there_are() -> None:
    recording = yaml.safe_load((PROMETHEUS / "recording.yml").read_text(encoding="utf-8"))
    there = {write_docs.exposed(family) for family in write_docs.families()}
    there |= {rule["record"] for group in recording["groups"] for rule in group["rules"]}
    there |= {f"leerie_decision_seconds_{part}" for part in ("bucket", "count", "sum")}
    for query in queries():
        asked = re.findall(r"[a-z]+:leerie_\w+:\w+|\bleerie_\w+|\bprocess_\w+", query.expression)
        assert asked or re.search(r"up\{|ALERTS\{", query.expression), query
        assert {*asked} <= there, query


def test_what_is_recorded_is_shown() -> None:
    recording = yaml.safe_load((PROMETHEUS / "recording.yml").read_text(encoding="utf-8"))
    alerts = (PROMETHEUS / "alerts.yml").read_text(encoding="utf-8")
    asked = alerts + "".join(query.expression for query in queries())
    assert [rule["record"] for rule in recording["groups"][0]["rules"] if rule["record"] not in asked] == []


# ---- provisioning ----------------------------------------------------------------------------------------------------


def provisioned(kind: str) -> dict[str, Any]:
    (path,) = (GRAFANA / "provisioning" / kind).iterdir()
    (found,) = yaml.safe_load(path.read_text(encoding="utf-8"))["datasources" if kind == "datasources" else "providers"]
    assert isinstance(found, dict)
    return found


def test_the_source_is_the_one_that_the_dashboards_name_and_compose_has() -> None:
    source = provisioned("datasources")
    assert (source["type"], source["uid"]) == ("prometheus", "prometheus")
    services = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))["services"]
    assert source["url"] == "http://prometheus:9090"
    assert "prometheus" in services
    scrapes = yaml.safe_load((PROMETHEUS / "prometheus.yml").read_text(encoding="utf-8"))["global"]["scrape_interval"]
    assert source["jsonData"]["timeInterval"] == scrapes


def test_compose_mounts_the_dashboards_where_grafana_looks_for_them() -> None:
    mounts = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))["services"]["grafana"]["volumes"]
    assert f"./grafana/dashboards:{provisioned('dashboards')['options']['path']}:ro" in mounts
    assert "./grafana/provisioning:/etc/grafana/provisioning:ro" in mounts
