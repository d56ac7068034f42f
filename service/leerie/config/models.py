"""The config file as it may be written: every table and key, its default, and the kind of value it takes.

A model holds values as they stand in the file. What a key means in the absence of others (a default by kind, a lower
bound) is worked out in compile.py, what keys demand of each other is checked in checks/.
"""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, SecretStr
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from leerie.config import devices
from leerie.config.quantities import (
    Area,
    Chromaticity,
    DaylightSeen,
    Days,
    Elevation,
    EyeRatio,
    Fraction,
    Kelvin,
    LampsSeen,
    Latitude,
    Longitude,
    Lux,
    Megabytes,
    Percent,
    Port,
    Share,
    Target,
)
from leerie.config.values import (
    BY_SHAPE,
    FLAG,
    LIST,
    NUMBER,
    PAIR,
    TABLE,
    TEXT,
    Allowed,
    At,
    Clock,
    Day,
    Duration,
    Flag,
    HoldFor,
    Keepalive,
    Lasting,
    Metrics,
    Name,
    Pointer,
    Root,
    Stretch,
    Table,
    Text,
    Topic,
    Weekday,
    Zone,
    typed,
)

# ---- the site, the broker, the service -------------------------------------------------------------------------------


class Site(Table):
    name: Text = "leerie"
    latitude: Latitude
    longitude: Longitude
    timezone: Zone
    holidays: Text | None = None
    days_off: list[Stretch] = Field([])
    workweek: list[Weekday] = Field(["mon", "tue", "wed", "thu", "fri"])
    kelvin: Kelvin = 3000
    bed: str | None = None


class Tls(Table):
    ca: Text | None = None
    certificate: Text | None = None
    key: Text | None = None


class Broker(Table):
    host: Text = "127.0.0.1"
    port: Port | None = None
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    client_id: Text = "leerie"
    username: Text | None = None
    password: Annotated[SecretStr, Allowed("text")] | None = None
    password_file: Text | None = None
    tls: Tls | None = None
    topics: Root = "leerie"
    keepalive: Keepalive = "15s"


class Journal(Table):
    days: Days = 14
    megabytes: Megabytes = 200


class Service(Table):
    state_dir: Text | None = None
    journal: Journal = Journal()
    metrics: Metrics = "127.0.0.1:9464"
    refresh: Lasting = "5m"
    drift: Lasting = "10s"
    log: Literal["console", "json"] | None = None
    trust_clock_after: Duration = "10m"


# ---- daylight and the day --------------------------------------------------------------------------------------------


class Cloud(Table):
    topic: Topic
    pointer: Pointer | None = None
    unit: Literal["percent", "fraction", "okta", "metar"]
    expires: Lasting = "3h"


class Outdoor(Table):
    topic: Topic
    pointer: Pointer | None = None
    expires: Lasting = "15m"


class Daylight(Table):
    dark: Lux = 100.0
    bright: Lux = 20_000.0
    scale: Literal["log", "linear"] = "log"
    assume_cloud: Fraction = 0.6
    cloud: Cloud | None = None
    outdoor: Outdoor | None = None


class Start(Table):
    at: At
    days: list[Day] = Field([])


class DayPart(Table):
    starts: Annotated[
        Annotated[At, TEXT] | Annotated[list[Start], Field(min_length=1), LIST],
        BY_SHAPE,
        Allowed('a start such as "08:30" or "sunset - 30m", or a list of { at, days }'),
    ]
    days: list[Day] = Field([])
    earliest: Clock | None = None
    latest: Clock | None = None
    kelvin: Kelvin | None = None
    blend: Duration = "2m"


# ---- rooms -----------------------------------------------------------------------------------------------------------


class SunWhite(Table):
    sun: Annotated[list[Kelvin], PAIR, Allowed("[warm, cool], each in kelvin")]
    high: Elevation = 30.0


White = Annotated[
    Annotated[Kelvin, NUMBER] | Annotated[SunWhite, TABLE],
    BY_SHAPE,
    BeforeValidator(typed),
    Allowed("a whole number of kelvin from 1000 to 20000, or { sun = [warm, cool] }"),
]


class Light(Table):
    level: Fraction | None = None
    follow: Annotated[list[Fraction], PAIR, Allowed("[first, second], each 0 to 1")] | None = None
    lux: Target | None = None
    kelvin: White | None = None
    xy: Chromaticity | None = None


Value = Annotated[
    Annotated[Fraction, NUMBER] | Annotated[Light, TABLE],
    BY_SHAPE,
    BeforeValidator(typed),
    Allowed("a level from 0 to 1, or a table with level, follow or lux, and kelvin or xy"),
]
Scene = dict[str, Value]


class Warn(Table):
    before: Lasting = "30s"
    level: Fraction = 0.5


Warned = Annotated[
    Annotated[Warn, TABLE] | Annotated[Literal[False], FLAG],
    BY_SHAPE,
    BeforeValidator(typed),
    Allowed("{ before, level }, or false for none"),
]


class During(Table):
    auto_on: Fraction | None = None
    sensors: list[str] | None = None
    keep: list[str] | None = None
    confirm: Duration | None = None
    pass_through: Duration | None = None
    grace: Duration | None = None
    warn: Warned | None = None
    relight: Duration | None = None
    vacant: Scene | None = None


class Meter(Table):
    topic: Topic
    pointer: Pointer | None = None
    expires: Lasting = "10m"
    lamps: LampsSeen = 1.0
    daylight: DaylightSeen = 1.0


class Room(Table):
    sensors: list[str] = Field([])
    keep: list[str] = Field([])
    fixtures: list[str] = Field([])
    auto_on: Fraction = 1.0
    confirm: Duration = "10s"
    pass_through: Duration = "2m"  # noqa: S105 - people pass through, no word does
    grace: Duration = "10m"
    warn: Warned = Warn()
    relight: Duration = "60s"
    hold_for: HoldFor = "4h"
    if_blind: Literal["on", "off", "last"] | None = None
    enclosed: Flag = False
    settle: Duration | None = None
    egress: Flag = False
    area: Area | None = None
    maintenance: Share = 0.8
    utilisation: Share = 0.5
    daylight_factor: Percent = 0.0
    eye_ratio: EyeRatio = 0.5
    meter: Meter | None = None
    scenes: dict[str, Scene] = Field({})
    during: dict[str, During] = Field({})


# ---- the whole -------------------------------------------------------------------------------------------------------


class Config(BaseSettings):
    """The config of leerie, a service that lights the rooms of a small building."""

    model_config = SettingsConfigDict(
        extra="forbid", frozen=True, env_prefix="LEERIE_", env_nested_delimiter="__", case_sensitive=True
    )

    site: Site
    broker: Broker = Broker()
    service: Service = Service()
    daylight: Daylight = Daylight()
    day_parts: dict[Name, DayPart] = {}
    sensors: dict[Name, devices.Sensor] = {}
    fixtures: dict[Name, devices.Fixture] = {}
    rooms: dict[Name, Room] = {}

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],  # noqa: ARG003 - the signature is pydantic's
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,  # noqa: ARG003 - as above
        dotenv_settings: PydanticBaseSettingsSource,  # noqa: ARG003 - as above
        file_secret_settings: PydanticBaseSettingsSource,  # noqa: ARG003 - as above
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Only what sources.py hands over: it knows which source gave what, so each mistake is laid at its door."""
        return (init_settings,)
