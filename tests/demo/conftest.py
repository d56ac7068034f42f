"""The packaged example building."""

from pathlib import Path

import pytest

from leerie import config
from leerie.config.building import Building


@pytest.fixture(scope="session")
def example() -> Building:
    return config.load(Path(config.__file__).with_name("example.toml"), {}).building
