"""Two ways to read a config text: it is sound, or it is not."""

from collections.abc import Mapping
from pathlib import Path

import pytest
from small_configs import Build, Refuse

from leerie.config import ConfigError, load
from leerie.config.building import Building


@pytest.fixture
def build(tmp_path: Path) -> Build:
    """Compile a config text."""

    def build(text: str, environ: Mapping[str, str] | None = None) -> Building:
        path = tmp_path / "leerie.toml"
        path.write_text(text)
        return load(path, environ or {}).building

    return build


@pytest.fixture
def refuse(tmp_path: Path) -> Refuse:
    """What is said against a config text."""

    def refuse(text: str, environ: Mapping[str, str] | None = None) -> list[str]:
        path = tmp_path / "leerie.toml"
        path.write_text(text)
        with pytest.raises(ConfigError) as refusal:
            load(path, environ or {})
        return [str(problem).replace(f"{tmp_path}/", "") for problem in refusal.value.problems]

    return refuse
