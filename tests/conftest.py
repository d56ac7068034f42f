"""What several tests share."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from brokers import KINDS, Kind, serving
from leerie.config.running import Broker

# A machine that has just been started does not yet believe its clock; what is tested here is something else.
os.environ["LEERIE_SERVICE__TRUST_CLOCK_AFTER"] = "0s"

settings.register_profile("untimed", deadline=None)
settings.register_profile("few", deadline=None, max_examples=15)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "untimed"))  # no test is about how long anything takes


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest first: at the end no processor is to wait for them."""
    items.sort(key=lambda item: item.get_closest_marker("trial") is None)


@pytest.fixture(params=KINDS, ids=lambda kind: f"{kind.name}-{kind.protocol}")
def kind(request: pytest.FixtureRequest) -> Kind:
    """Each broker and version of the protocol in turn."""
    chosen: Kind = request.param
    return chosen


@pytest.fixture
def broker(kind: Kind, tmp_path: Path) -> Iterator[Broker]:
    """A real broker."""
    with serving(kind, tmp_path) as config:
        yield config
