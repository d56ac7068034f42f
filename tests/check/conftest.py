"""A command to check a config with."""

from pathlib import Path

import pytest
from hut import Check

from leerie.cli.main import main


@pytest.fixture
def check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Check:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LEERIE_CONFIG", raising=False)

    def run(text: str, *options: str) -> int:
        (tmp_path / "leerie.toml").write_text(text, encoding="utf-8")
        return main(["check", *options])

    return run
