"""The light outdoors now: a real sensor's while it is fresh, else the sun's, less what cloud takes."""

from typing import Literal

import msgspec

from leerie.config.building import Building, Feed
from leerie.daylight import sky, sun
from leerie.now import Now

SKIES_KEPT = 128
"""Rooms look at the same few instants: the present, and the steps of the grid on which their lamps may move."""


class Reading(msgspec.Struct, frozen=True):
    """What a feed last said."""

    value: float
    """Cloud: fraction 0…1; outdoor: lx."""
    at: Now


class Outdoors(msgspec.Struct, frozen=True):
    """All that has to be remembered of the world outdoors."""

    cloud: Reading | None = None
    outdoor: Reading | None = None

    def read(self, feed: Literal["cloud", "outdoor"], value: float | None, now: Now) -> "Outdoors":
        """After that feed's word; None: it can no longer tell."""
        reading = None if value is None else Reading(value, now)
        return Outdoors(reading, self.outdoor) if feed == "cloud" else Outdoors(self.cloud, reading)

    def newest(self, other: "Outdoors") -> "Outdoors":
        """Of each feed the later word."""
        return Outdoors(_later(self.cloud, other.cloud), _later(self.outdoor, other.outdoor))


class Sky(msgspec.Struct, frozen=True):
    """The sun and the light outdoors at one instant."""

    elevation: float
    """Degrees above the horizon, unrefracted."""
    azimuth: float
    """Degrees from north through east."""
    clear: float
    """What a clear sky would give, lx."""
    cover: float
    """The cover reckoned with, 0…1: told, assumed, or worked back from the sensor."""
    cloud: float | None
    """The cover that the cloud feed tells, 0…1; None: no fresh word of it."""
    outdoor: float
    """Illuminance on the horizontal, lx, above 0 unless a sensor says 0."""
    diffuse: float
    """The part of it that comes from the sky and not from the sun, lx."""
    source: Literal["sun", "sun+cloud", "sensor"]
    """What `outdoor` was made from: the sun and the cover assumed, the sun and the cover told, or the sensor."""


def look(outdoors: Outdoors, building: Building, now: Now) -> Sky:
    """The sky as it is now, by what has been heard and has not expired."""
    daylight = building.daylight
    position = sun.position(building.site, now.wall)
    clear = sky.clear_sky(position.elevation)
    told = _fresh(outdoors.cloud, daylight.cloud, now)
    measured = _fresh(outdoors.outdoor, daylight.outdoor, now)
    source: Literal["sun", "sun+cloud", "sensor"]
    if measured is not None:
        cover, outdoor, source = sky.cloud_behind(measured / clear), measured, "sensor"
    else:
        cover = daylight.assume_cloud if told is None else told
        outdoor, source = clear * sky.cloud_factor(cover), "sun" if told is None else "sun+cloud"
    diffuse = sky.diffuse(outdoor, position.elevation, cover)
    return Sky(position.elevation, position.azimuth, clear, cover, told, outdoor, diffuse, source)


class Skies:
    """The sky at any instant, by what has been heard so far. What it remembers of instants is for speed alone."""

    def __init__(self, building: Building, outdoors: Outdoors | None = None) -> None:
        self._building = building
        self._seen: dict[Now, Sky] = {}
        self.outdoors = outdoors or Outdoors()

    def read(self, feed: Literal["cloud", "outdoor"], value: float | None, now: Now) -> None:
        """A feed spoke."""
        self.outdoors = self.outdoors.read(feed, value, now)
        self._seen.clear()

    def at(self, now: Now) -> Sky:
        """The sky at that instant, if no feed speaks until then."""
        sky = self._seen.get(now)
        if sky is None:
            if len(self._seen) >= SKIES_KEPT:
                self._seen.clear()
            sky = self._seen[now] = look(self.outdoors, self._building, now)
        return sky

    def expiries(self) -> tuple[int, ...]:
        """The steady ms at which a reading that counts goes stale."""
        daylight, outdoors = self._building.daylight, self.outdoors
        pairs = ((outdoors.cloud, daylight.cloud), (outdoors.outdoor, daylight.outdoor))
        return tuple(reading.at.steady + feed.expires_ms for reading, feed in pairs if reading and feed)


def _later(one: Reading | None, other: Reading | None) -> Reading | None:
    if one is None or other is None:
        return one or other
    return one if one.at.steady >= other.at.steady else other


def _fresh(reading: Reading | None, feed: Feed | None, now: Now) -> float | None:
    """The reading's value until it expires."""
    if reading is None or feed is None or now.steady - reading.at.steady >= feed.expires_ms:
        return None
    return reading.value
