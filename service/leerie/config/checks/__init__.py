"""What keys demand of each other. Each check yields flaws and changes nothing."""

from collections.abc import Iterator

from leerie.config.checks.lamps import lamp_flaws
from leerie.config.checks.rooms import room_flaws
from leerie.config.checks.sensors import sensor_flaws
from leerie.config.checks.service import service_flaws
from leerie.config.checks.topics import topic_flaws
from leerie.config.declared import Declared
from leerie.config.models import Config
from leerie.config.problems import Flaw


def flaws(config: Config, declared: Declared) -> Iterator[Flaw]:
    """Everything that is wrong although each key for itself is right."""
    yield from service_flaws(config, declared)
    for name, sensor in config.sensors.items():
        yield from sensor_flaws(("sensors", name), sensor)
    for name, fixture in config.fixtures.items():
        yield from lamp_flaws(("fixtures", name), fixture)
    yield from room_flaws(config, declared)
    yield from topic_flaws(config)
