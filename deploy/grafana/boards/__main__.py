"""Writes dashboards/*.json: `.venv/bin/python -m deploy.grafana.boards [FOLDER]`.

They are committed as written; a test compares. Grafana's typed SDK is in the extra `test`.
"""

import json
import sys
from pathlib import Path

from deploy.grafana.boards.house import house
from deploy.grafana.boards.operation import operation
from deploy.grafana.boards.room import room
from grafana_foundation_sdk.builders.dashboard import Dashboard
from grafana_foundation_sdk.cog.encoder import JSONEncoder

FOLDER = Path(__file__).parents[1] / "dashboards"
DASHBOARDS = (house, room, operation)


def text(made: Dashboard) -> str:
    """As JSON with sorted keys: what the SDK orders otherwise one day is no change."""
    return json.dumps(made.build(), cls=JSONEncoder, indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def write(folder: Path) -> None:
    for make in DASHBOARDS:
        (folder / f"{make.__name__}.json").write_text(text(make()), encoding="utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
