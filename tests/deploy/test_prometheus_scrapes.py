"""Debian's Prometheus scrapes a leerie that runs, and answers whatever rules, alerts and dashboards ask it.

Prometheus 2.42 and newer (Debian 12: package prometheus), on loopback, beside `leerie demo`: the real daemon in a
building full of invented people.
"""

from math import isnan
from pathlib import Path

import pytest
from scraping import Prometheus, Query, demo, queries, until

from brokers import real_part

pytestmark = pytest.mark.broker
FILLED = {"$__rate_interval": "10s", "$__range": "1h", "$room": "kitchen"}
"""What Grafana puts in. The kitchen has lamps with a white and with watts, and is the first to wake up."""
PATIENCE_S = 60.0


def filled(expression: str) -> str:
    for variable, value in FILLED.items():
        expression = expression.replace(variable, value)
    assert "$" not in expression
    return expression


def has_data(prometheus: Prometheus, expression: str) -> bool:
    return any(not isnan(value) for value in prometheus.values(expression))


def test_every_expression_is_answered_by_a_running_demo(tmp_path: Path) -> None:
    """Each panel's query with data, each rule well, each alert quiet, as nothing is wrong in a demo but the clock."""
    real_part("prometheus")
    pytest.importorskip("amqtt", reason="the demo extra is not installed")
    with demo(tmp_path) as page, Prometheus(tmp_path, page) as prometheus:
        _panels_show_something(prometheus)
        for rule in prometheus.rules("recording"):
            assert (rule["health"], rule.get("lastError")) == ("ok", None), rule
            assert has_data(prometheus, rule["name"])
        alerts = prometheus.rules("alerting")
        assert len(alerts) >= 8
        for rule in alerts:
            assert (rule["health"], rule.get("lastError")) == ("ok", None), rule
            doubts = rule["name"] == "LeerieClockDoubtful"  # a demo's clock is invented, and differs by weeks
            assert len(prometheus.values(rule["query"])) == doubts, rule["name"]
        assert "kitchen" in prometheus.ask("label/room/values", **{"match[]": "leerie_room_state"})
        (target,) = prometheus.ask("targets")["activeTargets"]
        assert (target["health"], target["lastError"]) == ("up", "")


def _panels_show_something(prometheus: Prometheus) -> None:
    """Each at some time: nobody decides anything, and no delay is known, in a second in which nobody moves."""
    waiting: list[Query] = queries()
    assert len(waiting) > 40

    def all_have() -> bool:
        waiting[:] = [query for query in waiting if not has_data(prometheus, filled(query.expression))]
        return not waiting

    until(all_have, PATIENCE_S, lambda: "\n".join(map(str, ("no data for", *waiting))))


def test_prometheus_would_say_so(tmp_path: Path) -> None:
    """What no metric answers has no data, and what makes no sense is an error."""
    with Prometheus(tmp_path, "127.0.0.1:1") as prometheus:
        assert not has_data(prometheus, "leerie_made_up")
        with pytest.raises(pytest.fail.Exception, match="parse error"):
            prometheus.values("rate(leerie_made_up)")
