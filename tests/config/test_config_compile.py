"""What a sound config means: defaults by kind, overrides and lower bounds worked in."""

from datetime import date
from pathlib import Path

import pytest
from small_configs import SITE, WORKSHOP, Build

from leerie.config.building import ClockStart, Match, Meter, SunStart
from leerie.config.running import Tls
from leerie.config.scenes import Fixed, Follow, Maintain, SunWhite, Value

PRESENT = ("true", "1", "on", "yes", "present", "occupied", "motion", "detected")
ABSENT = ("false", "0", "off", "no", "absent", "vacant", "unoccupied", "clear", "none")


def sensor(keys: str) -> str:
    return f'{SITE}\n[sensors.it]\ntopic = "it"\n{keys}\n'


def lamp(keys: str) -> str:
    return f'{SITE}\n[fixtures.it]\ntopic = "it"\n{keys}\n[rooms.room]\nfixtures = ["it"]\n'


def room(keys: str, during: str = "") -> str:
    return f"""{SITE}
[day_parts]
day.starts = "08:00"
night.starts = "22:00"
[sensors]
radar = {{ kind = "presence", topic = "radar" }}
pir = {{ kind = "motion", topic = "pir", clears = "20s", rests = "60s" }}
slow = {{ kind = "motion", topic = "slow", rests = "12m" }}
door = {{ kind = "door", topic = "door" }}
[fixtures]
lamp = {{ kind = "dimmable", topic = "lamp", payload = "$byte" }}
[rooms.room]
fixtures = ["lamp"]
scenes = {{ day = {{ lamp = 1 }}, night = {{ lamp = 0.5 }}, vacant = {{ lamp = 0.1 }} }}
{keys}
[rooms.room.during.night]
{during}
"""


# ---- the site, the broker, the service -------------------------------------------------------------------------------


def test_defaults_of_an_empty_house(build: Build) -> None:
    building = build(SITE)
    site, broker, service, daylight = building.site, building.broker, building.service, building.daylight
    assert (site.holidays, site.days_off, site.workweek, site.kelvin) == (None, (), (0, 1, 2, 3, 4), 3000)
    assert site.bed is None
    assert (broker.host, broker.port, broker.protocol, broker.client_id) == ("127.0.0.1", 1883, "auto", "leerie")
    assert (broker.username, broker.password, broker.tls) == (None, None, None)
    assert (broker.topics, broker.keepalive_s) == ("leerie", 15)
    assert (service.state_dir, service.metrics) == (None, ("127.0.0.1", 9464))
    assert (service.refresh_ms, service.drift_ms, service.log) == (300_000, 10_000, None)
    assert (daylight.dark, daylight.bright, daylight.scale, daylight.assume_cloud) == (100, 20_000, "log", 0.6)
    assert (daylight.cloud, daylight.outdoor) == (None, None)
    assert [*building.parts, *building.sensors, *building.fixtures, *building.rooms] == []


def test_days_off_and_workweek(build: Build) -> None:
    """A TOML date means the same as its text."""
    days = 'days_off = ["2026-07-17/2026-07-31", 2026-12-24]\nworkweek = ["sat", "mon"]\nholidays = "GB"\n'
    site = build(SITE + days).site
    stretches = ((date(2026, 7, 17), date(2026, 7, 31)), (date(2026, 12, 24), date(2026, 12, 24)))
    assert (site.days_off, site.workweek, site.holidays) == (stretches, (0, 5), "GB")


def test_tls_moves_the_port(build: Build) -> None:
    assert build(SITE + "[broker]\ntls = {}\n").broker.port == 8883
    assert build(SITE + "[broker]\ntls = {}\nport = 443\n").broker.port == 443


def test_files_stand_beside_the_config(build: Build, tmp_path: Path) -> None:
    (tmp_path / "ca.pem").touch()
    building = build(SITE + '[broker]\ntls = { ca = "ca.pem" }\n[service]\nstate_dir = "state"\n')
    assert building.broker.tls == Tls(str(tmp_path / "ca.pem"), None, None)
    assert building.service.state_dir == str(tmp_path / "state")
    assert build(SITE + '[service]\nstate_dir = "/var/lib/leerie"\n').service.state_dir == "/var/lib/leerie"


@pytest.mark.parametrize(
    ("text", "address"), [("", None), ("localhost:0", ("localhost", 0)), ("[::1]:9464", ("::1", 9464))]
)
def test_metrics_address(build: Build, text: str, address: tuple[str, int] | None) -> None:
    assert build(f'{SITE}[service]\nmetrics = "{text}"\n').service.metrics == address


def test_feeds(build: Build) -> None:
    feeds = """
[daylight]
cloud = { topic = "sky", pointer = "/a~1b/0", unit = "okta" }
outdoor = { topic = "roof", expires = "1m" }
"""
    daylight = build(SITE + feeds).daylight
    assert daylight.cloud is not None
    assert daylight.outdoor is not None
    assert (daylight.cloud.pointer, daylight.cloud.unit, daylight.cloud.expires_ms) == (
        ("a/b", "0"),
        "okta",
        10_800_000,
    )
    metar = build(f"{SITE}{feeds.replace('okta', 'metar')}").daylight.cloud
    assert metar is not None
    assert metar.unit == "metar"
    assert (daylight.outdoor.pointer, daylight.outdoor.unit, daylight.outdoor.expires_ms) == (None, "lux", 60_000)


# ---- the day ---------------------------------------------------------------------------------------------------------


def test_starts(build: Build) -> None:
    parts = build(
        SITE
        + """
[day_parts.morning]
starts = [{ at = "06:30", days = ["workday"] }, { at = "08:30" }]
[day_parts.working]
starts = "08:30"
days = ["mon", "holiday"]
[day_parts.evening]
starts = "sunset - 30m"
earliest = "16:00"
latest = "20:30"
kelvin = 2700
[day_parts.late]
starts = "dusk+1h"
[day_parts.noon]
starts = "noon"
days = ["sun"]
"""
    ).parts
    assert tuple(parts) == ("morning", "working", "evening", "late", "noon")
    assert parts["morning"].starts == (ClockStart(23_400, ("workday",)), ClockStart(30_600, ()))
    assert parts["working"].starts == (ClockStart(30_600, ("mon", "holiday")),)
    assert parts["evening"].starts == (SunStart("sunset", -1800, ()),)
    assert (parts["evening"].earliest, parts["evening"].latest, parts["evening"].kelvin) == (57_600, 73_800, 2700)
    assert parts["late"].starts == (SunStart("dusk", 3600, ()),)
    assert parts["noon"].starts == (SunStart("noon", 0, ("sun",)),)
    assert (parts["noon"].earliest, parts["noon"].latest, parts["noon"].kelvin) == (None, None, None)


@pytest.mark.parametrize(("key", "ms"), [("", 120_000), ('blend = "45m"', 2_700_000), ('blend = "0s"', 0)])
def test_blend_and_bed(build: Build, key: str, ms: int) -> None:
    building = build(f'{SITE}bed = "night"\n[day_parts.night]\nstarts = "22:00"\n{key}\n')
    assert (building.site.bed, building.parts["night"].blend_ms) == ("night", ms)


# ---- sensors ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "present", "absent"),
    [
        ('kind = "presence"', Match(PRESENT), Match(ABSENT)),
        ('kind = "motion"', Match(PRESENT), Match(ABSENT)),
        ('kind = "door"', Match(("open",)), Match(("closed",))),
        ('kind = "presence"\npresent = [1, 1.0, 0.5, " Yes "]', Match(("1", "0.5", "yes")), Match(ABSENT)),
        ('kind = "presence"\npresent = ["none"]', Match(("none",)), Match(ABSENT[:-1])),
        ('kind = "door"\npresent = ["closed"]\nabsent = ["open"]', Match(("closed",)), Match(("open",))),
        (
            'kind = "presence"\npresent = { at_least = 1 }\nabsent = [0]',
            Match((), at_least=1.0),
            Match(("0",)),
        ),
    ],
)  # fmt: skip
def test_words_of_present_and_absent(build: Build, keys: str, present: Match, absent: Match) -> None:
    it = build(sensor(keys)).sensors["it"]
    assert (it.present, it.absent) == (present, absent)


@pytest.mark.parametrize(
    ("bound", "other"),
    [
        ("at_least = 1", {"below": 1.0}),
        ("above = 0.2", {"at_most": 0.2}),
        ("at_most = 3", {"above": 3.0}),
        ("below = 3", {"at_least": 3.0}),
        ("above = 1, below = 3", {}),
    ],
)
def test_a_number_that_is_not_present_is_absent_unless_the_config_says_otherwise(
    build: Build, bound: str, other: dict[str, float]
) -> None:
    it = build(sensor(f'kind = "presence"\npresent = {{ {bound} }}')).sensors["it"]
    assert it.absent == Match(tuple(word for word in ABSENT if word != "0"), **other)


@pytest.mark.parametrize(
    ("keys", "minutes"),
    [
        ('kind = "presence"', 720),
        ('kind = "motion"', 30),
        ('kind = "motion"\nclears = "20s"', 720),
        ('kind = "motion"\nabsent = ["still"]', 720),
        ('kind = "motion"\npresent = ["moved"]', 30),
        ('kind = "motion"\nstuck = "5m"', 5),
    ],
)
def test_how_long_presence_is_believed(build: Build, keys: str, minutes: int) -> None:
    assert build(sensor(keys)).sensors["it"].stuck_ms == minutes * 60_000


def test_what_else_a_sensor_can_have(build: Build) -> None:
    it = build(
        sensor("""
kind = "motion"
pointer = ""
clears = "20s"
rests = "1m"
alive = "1d"
online = { topic = "up", present = ["up"], absent = ["lost"] }
battery = { topic = "cell", pointer = "/percent", low = 15 }
""")
    ).sensors["it"]
    assert (it.pointer, it.clears_ms, it.rests_ms, it.alive_ms) == ((), 20_000, 60_000, 86_400_000)
    assert it.online is not None
    assert (it.online.pointer, it.online.present, it.online.absent) == (None, Match(("up",)), Match(("lost",)))
    assert it.battery is not None
    assert (it.battery.pointer, it.battery.low) == (("percent",), 15.0)


def test_a_button_compares_in_any_case(build: Build) -> None:
    it = build(sensor('kind = "button"\ndoes = { " Short" = "ask light", "1" = "raise" }')).sensors["it"]
    assert it.does == {"short": "ask light", "1": "raise"}
    assert it.present == it.absent == Match(())


# ---- lamps -----------------------------------------------------------------------------------------------------------


def test_a_switched_lamp_needs_nothing_but_a_topic(build: Build) -> None:
    it = build(lamp('kind = "switched"')).fixtures["it"]
    assert [(wire.topic, wire.payload.names, wire.payload.json) for wire in it.messages] == [("it", ("on",), False)]
    assert (it.when_off, it.words, it.trim, it.curve, it.response) == (None, None, (0.0, 1.0), "linear", None)
    assert (it.range, it.kelvin, it.fade_up_ms, it.fade_down_ms) == ((0.0, 255.0), None, 1000, 1000)
    assert (it.pace_ms, it.refresh_ms) == (200, 300_000)


@pytest.mark.parametrize(
    ("keys", "kelvin"),
    [
        ('kind = "dimmable"\npayload = "$byte"', None),
        ('kind = "dimmable"\npayload = "$byte"\nkelvin = 2700', (2700, 2700)),
        ('kind = "tunable"\npayload = "$byte $kelvin"', (2200, 6500)),
        ('kind = "colour"\npayload = "$red $green $blue"', (2200, 6500)),
        ('kind = "tunable"\npayload = "$byte $mired"\nkelvin = [2700, 5000]', (2700, 5000)),
    ],
)
def test_whites(build: Build, keys: str, kelvin: tuple[int, int] | None) -> None:
    assert build(lamp(keys)).fixtures["it"].kelvin == kelvin


@pytest.mark.parametrize(
    ("keys", "up", "down"),
    [
        ('fade = "2s"', 2000, 2000),
        ('fade = { up = "0.4s" }', 400, 1000),
        ('fade = { up = "0s", down = "2s" }', 0, 2000),
    ],
)
def test_fades(build: Build, keys: str, up: int, down: int) -> None:
    it = build(lamp(f'kind = "switched"\n{keys}')).fixtures["it"]
    assert (it.fade_up_ms, it.fade_down_ms) == (up, down)


@pytest.mark.parametrize(("keys", "ms"), [('refresh = "never"', None), ('refresh = "1m"', 60_000), ("", 600_000)])
def test_refresh_of_a_lamp_or_of_the_service(build: Build, keys: str, ms: int | None) -> None:
    text = '[service]\nrefresh = "10m"\n' + lamp(f'kind = "switched"\npace = 0.5\n{keys}')
    it = build(text).fixtures["it"]
    assert (it.refresh_ms, it.pace_ms) == (ms, 2000)


def test_messages_and_off(build: Build) -> None:
    keys = """
kind = "dimmable"
messages = [{ topic = "a", payload = "$byte" }, { topic = "b", payload = { on = "$on" } }]
when_off = [{ topic = "c", payload = "off" }]
words = { on = "go", off = "stop" }
"""
    it = build(lamp(keys).replace('topic = "it"\n', "")).fixtures["it"]
    assert [(wire.topic, wire.payload.json) for wire in it.messages] == [("a", False), ("b", True)]
    assert it.when_off is not None
    assert [(wire.topic, wire.payload.root) for wire in it.when_off] == [("c", "off")]
    assert it.words == ("go", "stop")


def test_what_a_lamp_gives_and_draws(build: Build) -> None:
    it = build(lamp('kind = "switched"')).fixtures["it"]
    assert (it.lumens, it.watts, it.standby, it.utilisation) == (None, None, 0.5, None)
    keys = 'kind = "switched"\nlumens = 1100\nwatts = 0.3\nstandby = 0.3\nutilisation = 0.9'
    it = build(lamp(keys)).fixtures["it"]
    assert (it.lumens, it.watts, it.standby, it.utilisation) == (1100.0, 0.3, 0.3, 0.9)


# ---- rooms -----------------------------------------------------------------------------------------------------------


def test_defaults_of_a_room(build: Build) -> None:
    it = build(room('sensors = ["radar"]')).rooms["room"]
    rules = it.rules
    assert (rules.sensors, rules.keep, rules.auto_on, rules.confirm_ms) == (("radar",), (), 1.0, 10_000)
    assert (rules.pass_through_ms, rules.grace_ms, rules.relight_ms) == (120_000, 600_000, 60_000)
    assert (rules.warn_before_ms, rules.warn_level, rules.vacant) == (30_000, 0.5, {"lamp": Fixed(0.1)})
    assert (it.hold_for, it.if_blind, it.enclosed, it.settle_ms, it.egress) == (14_400_000, "off", False, 10_000, False)
    assert (it.asked, it.scenes["night"]) == (None, {"lamp": Fixed(0.5)})


def test_parts_stand_in_the_order_of_day_parts_and_sensors_in_that_of_sensors(build: Build) -> None:
    it = build(WORKSHOP).rooms["workshop"]
    assert it.parts == tuple(it.scenes) == ("night", "day")
    it = build(room('sensors = ["door"]\nkeep = ["radar"]', 'sensors = ["pir"]')).rooms["room"]
    assert it.sensors == ("radar", "pir", "door")


def test_scene_values(build: Build) -> None:
    text = (
        room("")
        .replace("{ lamp = 0.5 }", "{ lamp = { follow = [0.8, 0] } }")
        .replace("{ lamp = 1 }", "{ lamp = { level = 1 } }")
    )
    text = text.replace("vacant = ", "asked = { lamp = { level = 0.2 } }, vacant = ")
    it = build(text).rooms["room"]
    assert it.scenes == {"day": {"lamp": Fixed(1.0)}, "night": {"lamp": Follow(0.8, 0.0)}}
    assert it.asked == {"lamp": Fixed(0.2)}


LIT = """
[fixtures.it]
kind = "colour"
topic = "it"
payload = "$percent $x $y"
lumens = 900
[fixtures.spot]
kind = "dimmable"
topic = "spot"
payload = "$byte"
lumens = 400
[day_parts.day]
starts = "08:00"
[rooms.room]
fixtures = ["it", "spot"]
area = 12
"""


@pytest.mark.parametrize(
    ("value", "compiled"),
    [
        ("level = 0.4, kelvin = 2700", Fixed(0.4, 2700)),
        ("level = 0.4, kelvin = { sun = [2700, 5000] }", Fixed(0.4, SunWhite(2700, 5000, 30.0))),
        ("follow = [0, 1], kelvin = { sun = [2700, 2700], high = 90 }", Follow(0.0, 1.0, SunWhite(2700, 2700, 90.0))),
        ("follow = [0, 1], xy = [0.64, 0.36]", Follow(0.0, 1.0, None, (0.64, 0.36))),
        ("level = 1, xy = [0, 1]", Fixed(1.0, None, (0.0, 1.0))),
        ("lux = 300", Maintain(300.0)),
        ("lux = 300, kelvin = { sun = [2700, 5000], high = 20.5 }", Maintain(300.0, SunWhite(2700, 5000, 20.5))),
        ("lux = 300, xy = [0.3, 0.3]", Maintain(300.0, None, (0.3, 0.3))),
    ],
)
def test_what_a_scene_can_ask_of_a_lamp(build: Build, value: str, compiled: Value) -> None:
    scenes = f"scenes = {{ day = {{ it = {{ {value} }} }}, vacant = {{ it = {{ {value} }} }} }}\n"
    it = build(f"{SITE}{LIT}{scenes}").rooms["room"]
    assert it.scenes["day"]["it"] == it.rules.vacant["it"] == compiled


def test_a_target_lights_an_escape_route_and_may_differ_from_scene_to_scene(build: Build) -> None:
    scenes = "scenes = { day = { it = { lux = 300 }, spot = { lux = 300 } }, vacant = { it = { lux = 20 } } }\n"
    it = build(f"{SITE}{LIT}egress = true\n{scenes}").rooms["room"]
    assert it.scenes["day"] == {"it": Maintain(300.0), "spot": Maintain(300.0)}
    assert it.rules.vacant == {"it": Maintain(20.0)}


def test_what_a_room_does_to_light(build: Build) -> None:
    it = build(f"{SITE}{LIT}").rooms["room"]
    assert (it.area, it.maintenance, it.utilisation, it.daylight_factor, it.eye_ratio) == (12.0, 0.8, 0.5, 0.0, 0.5)
    assert it.meter is None
    keys = "maintenance = 0.7\nutilisation = 0.6\ndaylight_factor = 2.5\neye_ratio = 0.4\n"
    it = build(f'{SITE}{LIT}{keys}meter = {{ topic = "lux" }}\n').rooms["room"]
    assert (it.maintenance, it.utilisation, it.daylight_factor, it.eye_ratio) == (0.7, 0.6, 0.025, 0.4)
    assert it.meter == Meter("lux", None, 600_000, 1.0, 1.0)
    meter = 'meter = { topic = "a/b", pointer = "/lx", expires = "1m", lamps = 0, daylight = 0.5 }\n'
    assert build(f"{SITE}{LIT}{meter}").rooms["room"].meter == Meter("a/b", ("lx",), 60_000, 0.0, 0.5)


@pytest.mark.parametrize(
    ("keys", "pass_through", "grace"),
    [
        ('sensors = ["radar", "door"]\npass_through = "1s"\ngrace = "1s"', 1, 1),
        ('sensors = ["pir"]\npass_through = "1s"\ngrace = "1s"', 85, 85),
        ('sensors = ["radar"]\nkeep = ["pir"]\npass_through = "1m"\ngrace = "2m"', 85, 120),
        ('sensors = ["pir", "slow"]', 725, 725),
        ('sensors = ["pir"]\ngrace = "15m"\npass_through = "0s"\negress = true', 900, 900),
        ('sensors = ["slow"]\ngrace = "1m"\negress = true', 725, 725),
    ],
)
def test_no_grace_is_shorter_than_a_sensor_needs_to_speak_again(
    build: Build, keys: str, pass_through: int, grace: int
) -> None:
    """Clears + rests + 5 s, for the sensor for which it is longest; on an escape route pass-through is the grace."""
    rules = build(room(keys)).rooms["room"].rules
    assert (rules.pass_through_ms, rules.grace_ms) == (pass_through * 1000, grace * 1000)


@pytest.mark.parametrize(
    ("keys", "before", "level"),
    [
        ('grace = "40s"', 20_000, 0.5),
        ('warn = { level = 0.3 }\ngrace = "2m"', 30_000, 0.3),
        ('warn = { before = "5m" }\ngrace = "2m"', 60_000, 0.5),
        ('grace = "40s"\nsensors = ["pir"]', 30_000, 0.5),
        ('grace = "0s"', None, 0.5),
        ("warn = false", None, 1.0),
        ("egress = true", None, 0.5),
    ],
)
def test_the_warning_is_cut_to_half_the_grace(build: Build, keys: str, before: int | None, level: float) -> None:
    rules = build(room(keys)).rooms["room"].rules
    assert (rules.warn_before_ms, rules.warn_level) == (before, level)


def test_a_day_part_overrides_what_it_names_and_nothing_else(build: Build) -> None:
    during = """
auto_on = 0
sensors = ["pir"]
keep = ["radar"]
confirm = "0s"
pass_through = "3m"
grace = "40s"
warn = false
relight = "0s"
vacant = {}
"""
    it = build(room('sensors = ["radar"]\ngrace = "1m"', during)).rooms["room"]
    night = it.during["night"]
    assert tuple(it.during) == ("night",)
    assert (night.sensors, night.keep, night.auto_on, night.confirm_ms) == (("pir",), ("radar",), 0.0, 0)
    assert (night.pass_through_ms, night.grace_ms, night.relight_ms) == (180_000, 85_000, 0)
    assert (night.warn_before_ms, night.vacant) == (None, {})
    assert (it.rules.sensors, it.rules.grace_ms, it.rules.warn_before_ms) == (("radar",), 60_000, 30_000)
    assert it.rules_in("day") is it.rules
    assert it.rules_in("night") is night
    assert build(room('auto_on = 0.5\nsensors = ["radar"]')).rooms["room"].during["night"].auto_on == 0.5


def test_escape_routes_are_lit_when_blind(build: Build) -> None:
    assert build(room("egress = true")).rooms["room"].if_blind == "on"
    assert build(room('egress = true\nif_blind = "last"')).rooms["room"].if_blind == "last"


@pytest.mark.parametrize(
    ("text", "end"), [("90m", 5_400_000), ("vacant", "vacant"), ("day_part", "day_part"), ("ever", "ever")]
)
def test_hold_ends(build: Build, text: str, end: object) -> None:
    assert build(room(f'hold_for = "{text}"')).rooms["room"].hold_for == end
