"""Checks of topics: nothing that leerie says may come back to it as something it hears."""

from collections.abc import Iterator

from leerie.config.devices import Fixture
from leerie.config.models import Config
from leerie.config.problems import Flaw, Path, dotted


def topic_flaws(config: Config) -> Iterator[Flaw]:
    root = config.broker.topics
    heard: dict[str, Path] = {}
    for path, topic in _heard(config):
        heard.setdefault(topic, path)
        if _is_said(topic, root):
            yield Flaw((*path, "topic"), f"leerie itself publishes on {topic}", "a topic on which others do")
    for name, lamp in config.fixtures.items():
        for path, topic in _told(("fixtures", name), lamp):
            if _is_own(topic, root):
                yield Flaw(path, f"{topic} is one of leerie's own", "the topic on which the lamp hears")
            elif topic in heard:
                problem = f"leerie hears {dotted(heard[topic])} on {topic}, and would hear itself"
                yield Flaw(path, problem, "the topic on which the lamp hears")


def _heard(config: Config) -> Iterator[tuple[Path, str]]:
    """Whatever brings a value, and its topic."""
    daylight = config.daylight
    feeds = (("cloud", daylight.cloud), ("outdoor", daylight.outdoor))
    yield from ((("daylight", name), feed.topic) for name, feed in feeds if feed is not None)
    for name, sensor in config.sensors.items():
        path = ("sensors", name)
        yield path, sensor.topic
        beside = (("online", sensor.online), ("battery", sensor.battery))
        yield from (((*path, key), table.topic) for key, table in beside if table is not None)
    for name, room in config.rooms.items():
        if room.meter is not None:
            yield ("rooms", name, "meter"), room.meter.topic


def _told(path: Path, lamp: Fixture) -> Iterator[tuple[Path, str]]:
    """Where the lamp's topics stand, and the topics."""
    if lamp.topic is not None:
        yield (*path, "topic"), lamp.topic
    for key, wires in (("messages", lamp.messages), ("when_off", lamp.when_off)):
        if isinstance(wires, list):
            yield from (((*path, key, index, "topic"), wire.topic) for index, wire in enumerate(wires))


def _is_own(topic: str, root: str) -> bool:
    below = tuple(f"{root}/{level}/" for level in ("room", "memory", "site"))
    return topic in [f"{root}/{level}" for level in ("service", "sky", "canary")] or topic.startswith(below)


def _is_said(topic: str, root: str) -> bool:
    """Of its own, those on which leerie is the one that speaks."""
    wish = topic.startswith((f"{root}/room/", f"{root}/site/")) and not topic.endswith("/state")
    return _is_own(topic, root) and not wish
