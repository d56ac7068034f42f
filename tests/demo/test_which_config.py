"""Which building the demo plays: the one that is named, else the one it stands beside, else the packaged example."""

from pathlib import Path

import pytest

from houses import workshop
from leerie.cli import demo
from leerie.cli.main import main
from leerie.config.building import Building


@pytest.mark.parametrize(
    ("words", "environ", "beside", "told"),
    [
        ((), "", False, "the example that comes with leerie"),
        ((), "", True, "leerie.toml"),
        ((), "mine.toml", True, "mine.toml"),
        (("--config", "mine.toml"), "other.toml", True, "mine.toml"),
    ],
)
def test_the_config_in_use_is_shown(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: tuple[str, ...],
    environ: str,
    beside: bool,
    told: str,
) -> None:
    config = workshop(tmp_path, 1)
    config.rename(tmp_path / "mine.toml")
    if beside:
        workshop(tmp_path, 1)
    played: list[Building] = []
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LEERIE_CONFIG", environ)
    monkeypatch.setattr(demo, "_play", lambda building, _args: played.append(building) or 0)
    assert main(["demo", *words]) == 0
    assert capsys.readouterr().err == f"config: {told}\n"
    assert ("stair" in played[0].rooms) == told.endswith("toml")


def test_a_config_that_is_named_and_not_there_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LEERIE_CONFIG", "lost.toml")
    assert main(["demo"]) == 1
    assert "lost.toml: cannot be read" in capsys.readouterr().err
