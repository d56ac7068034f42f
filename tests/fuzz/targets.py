"""What is fuzzed. Each target takes bytes, and raises where they bring out anything that must not be."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from .forging import record
from .grammars import config, duration, payload, weather
from .messages import controller, intake

TARGETS: Mapping[str, Callable[[bytes], None]] = MappingProxyType(
    {target.__name__: target for target in (intake, controller, record, config, payload, duration, weather)}
)
