"""Values from the environment and from secrets, and what is said when they are wrong."""

from pathlib import Path

import pytest
from small_configs import WORKSHOP, Build, Refuse

from leerie.config import ConfigError, load
from leerie.config.scenes import Fixed, Follow

SECRET = "hunter2"  # noqa: S105 - of nobody
UNKNOWN = "unknown variable; LEERIE_ and a key of the config, as in LEERIE_BROKER__HOST"


# ---- the environment -------------------------------------------------------------------------------------------------


def test_the_environment_wins_over_the_file(build: Build) -> None:
    text = WORKSHOP + '[broker]\nhost = "broker.house"\nport = 1884\n'
    broker = build(text, {"LEERIE_BROKER__HOST": "10.0.0.5"}).broker
    assert (broker.host, broker.port) == ("10.0.0.5", 1884)


def test_text_from_the_environment_becomes_what_its_key_wants(build: Build) -> None:
    building = build(
        WORKSHOP,
        {
            "LEERIE_BROKER__PORT": "1885",
            "LEERIE_BROKER__PROTOCOL": "5",
            "LEERIE_SITE__LATITUDE": "-33.9",
            "LEERIE_SITE__NAME": "1885",
            "LEERIE_SITE__DAYS_OFF": '["2026-12-24"]',
            "LEERIE_ROOMS__WORKSHOP__AUTO_ON": "0",
            "LEERIE_ROOMS__WORKSHOP__WARN": "false",
            "LEERIE_ROOMS__WORKSHOP__EGRESS": "false",
            "LEERIE_ROOMS__WORKSHOP__HOLD_FOR": "vacant",
            "LEERIE_ROOMS__WORKSHOP__SCENES__NIGHT__BENCH": "0.3",
            "LEERIE_ROOMS__WORKSHOP__SCENES__DAY": '{"bench": {"follow": [0.2, 1]}}',
            "LEERIE_ROOMS__WORKSHOP__DURING__NIGHT__GRACE": "3m",
            "LEERIE_FIXTURES__BENCH__PAYLOAD": "go $byte",
            "LEERIE_FIXTURES__BENCH__WHEN_OFF": "0",
            "LEERIE_FIXTURES__BENCH__KELVIN": "2700",
            "LEERIE_FIXTURES__BENCH__FADE": "3s",
        },
    )
    assert (building.broker.port, building.broker.protocol) == (1885, "5")
    assert (building.site.latitude, building.site.name, len(building.site.days_off)) == (-33.9, "1885", 1)
    room, bench = building.rooms["workshop"], building.fixtures["bench"]
    assert (room.rules.auto_on, room.rules.warn_before_ms, room.hold_for) == (0.0, None, "vacant")
    assert room.scenes == {"night": {"bench": Fixed(0.3)}, "day": {"bench": Follow(0.2, 1.0)}}
    assert room.during["night"].grace_ms == 180_000
    assert bench.when_off is not None
    assert (bench.when_off[0].payload.root, bench.kelvin, bench.fade_up_ms) == ("0", (2700, 2700), 3000)


def test_case_and_foreign_variables_do_not_matter(build: Build) -> None:
    environ = {"leerie_broker__host": "a", "HOME": "/", "LEERIEX": "1", "LEERIE_CONFIG": "x", "BROKER__HOST": "b"}
    assert build(WORKSHOP, environ).broker.host == "a"


def test_a_whole_table_can_come_from_the_environment(build: Build) -> None:
    sensor = '{"kind": "door", "topic": "door"}'
    environ = {"LEERIE_SENSORS__DOOR": sensor, "LEERIE_SENSORS__DOOR__ALIVE": "1d"}
    assert build(WORKSHOP, environ).sensors["door"].alive_ms == 86_400_000


@pytest.mark.parametrize(
    ("variable", "value", "words"),
    [
        ("LEERIE_BROKER__PORT", "many", 'broker.port: "many" is not allowed; a port from 1 to 65535'),
        (
            "LEERIE_ROOMS__WORKSHOP__GRACE",
            "5",
            'rooms.workshop.grace: "5" is no duration; a number with a unit such as',
        ),
        ("LEERIE_ROOMS__WORKSHOP__EGRESS", "yes", 'rooms.workshop.egress: "yes" is not allowed; true or false'),
        ("LEERIE_ROOMS__WORKSHOP__SENSORS", "radar", 'rooms.workshop.sensors: "radar" is not allowed; a list'),
        (
            "LEERIE_ROOMS__WORKSHOP__SENSORS",
            '["rader"]',
            "rooms.workshop.sensors[0]: there is no sensor rader; one of radar",
        ),
        ("LEERIE_SITE", "[", 'site: "[" is not allowed; a table with name'),
        ("LEERIE_SITE__LATITUDE", "1e999", "site.latitude: inf is not allowed; degrees from -90"),
        ("LEERIE_BROKER__PROT", "1", "broker.prot: unknown key; known here: host"),
        ("LEERIE_SERVICE__", "1", 'service."": unknown key; known here: state_dir'),
        ("LEERIE_SENSORS__DOOR", '{"kind": "door"}', "sensors.door.topic: is missing; a topic"),
        ("LEERIE_DAYLIGHT__CLOUD__UNIT", "percent", "daylight.cloud.topic: is missing; a topic"),
    ],
)
def test_a_mistake_in_the_environment_names_the_variable(refuse: Refuse, variable: str, value: str, words: str) -> None:
    (line,) = refuse(WORKSHOP, {variable: value})
    assert line.startswith(f"{variable} {words}")


@pytest.mark.parametrize(
    ("variable", "words"),
    [
        ("LEERIE_BROKR__HOST", f": {UNKNOWN}; did you mean LEERIE_BROKER__HOST?"),
        ("LEERIE_BROKER_HOST", f": {UNKNOWN}; did you mean LEERIE_BROKER__HOST?"),
        ("LEERIE_SECRET_DIR", f": {UNKNOWN}; did you mean LEERIE_SECRETS_DIR?"),
        ("LEERIE_", f": {UNKNOWN}"),
        ("LEERIE_ROOMS__WORKSHP__GRACE", " rooms.workshp: is not declared; declared: workshop; did you mean workshop?"),
        ("LEERIE_SENSORS__RADAR2__STUCK", " sensors.radar2: is not declared; declared: radar; did you mean radar?"),
    ],
)  # fmt: skip
def test_a_misspelt_variable_is_not_passed_over(refuse: Refuse, variable: str, words: str) -> None:
    assert refuse(WORKSHOP, {variable: "1m"}) == [f"{variable}{words}"]


@pytest.mark.parametrize("depth", [300, 700, 5000])
def test_a_variable_of_any_depth_is_told_or_taken(refuse: Refuse, depth: int) -> None:
    value = '{"a":' * depth + "1" + "}" * depth
    assert refuse(WORKSHOP, {"LEERIE_ROOMS": value, "LEERIE_BROKER__PORT": "0"})
    assert refuse(WORKSHOP, {"LEERIE_FIXTURES__BENCH__PAYLOAD": value})


def test_a_mistake_in_the_file_stays_with_the_file(refuse: Refuse) -> None:
    """Though the environment gives other keys of the same table."""
    text = WORKSHOP + "[broker]\nport = 0\n"
    assert refuse(text, {"LEERIE_BROKER__HOST": "a"}) == [
        "leerie.toml:25 broker.port: 0 is not allowed; a port from 1 to 65535"
    ]


# ---- secrets ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def secrets(tmp_path: Path) -> Path:
    folder = tmp_path / "secrets"
    folder.mkdir()
    return folder


def test_a_secret_bears_the_name_of_its_variable(build: Build, secrets: Path) -> None:
    (secrets / "leerie_broker__password").write_text(f"{SECRET}\n")
    (secrets / "other_service").write_bytes(b"\xff")
    (secrets / "leerie_site__kelvin").write_text("2700")
    building = build(WORKSHOP, {"LEERIE_SECRETS_DIR": str(secrets)})
    assert (building.broker.password, building.site.kelvin) == (SECRET, 2700)


def test_environment_over_secrets_over_file(build: Build, secrets: Path) -> None:
    (secrets / "leerie_broker__host").write_text("secret")
    (secrets / "LEERIE_BROKER__USERNAME").write_text("secret")
    text = WORKSHOP + '[broker]\nhost = "file"\nusername = "file"\nclient_id = "file"\n'
    broker = build(text, {"LEERIE_SECRETS_DIR": str(secrets), "LEERIE_BROKER__HOST": "environment"}).broker
    assert (broker.host, broker.username, broker.client_id) == ("environment", "secret", "file")


def test_a_secret_is_never_shown(refuse: Refuse, secrets: Path) -> None:
    (secrets / "leerie_broker__port").write_text(SECRET)
    (secrets / "leerie_broker__keepalive").write_text(SECRET)
    lines = refuse(WORKSHOP, {"LEERIE_SECRETS_DIR": str(secrets)})
    assert lines == [
        "secrets/leerie_broker__keepalive broker.keepalive: what it holds is not allowed; "
        "a number with a unit such as 90s, 10m, 1h30m, 2d, 0s",
        "secrets/leerie_broker__port broker.port: what it holds is not allowed; a port from 1 to 65535",
    ]


def test_secrets_that_cannot_be_had_get_a_line_each(refuse: Refuse, secrets: Path) -> None:
    (secrets / "leerie_broker__password").write_bytes(b"\xff\xfe")
    (secrets / "leerie_site").mkdir()
    (secrets / "leerie_brokr__password").write_text(SECRET)
    assert refuse(WORKSHOP, {"LEERIE_SECRETS_DIR": str(secrets)}) == [
        "secrets/leerie_broker__password: cannot be read: it is not UTF-8; UTF-8 text",
        "secrets/leerie_site: cannot be read: is a directory; UTF-8 text",
        f"secrets/leerie_brokr__password: {UNKNOWN}; did you mean LEERIE_BROKER__PASSWORD?",
    ]
    assert refuse(WORKSHOP, {"LEERIE_SECRETS_DIR": str(secrets / "nowhere")}) == [
        "LEERIE_SECRETS_DIR: cannot be read: no such file or directory; a folder of secrets"
    ]


def test_the_password_file_stands_beside_the_config(build: Build, tmp_path: Path) -> None:
    (tmp_path / "word").write_text(f" {SECRET} \r\n")
    assert build(WORKSHOP + '[broker]\npassword_file = "word"\n').broker.password == f" {SECRET} "
    absolute = str(tmp_path / "word")
    assert build(WORKSHOP, {"LEERIE_BROKER__PASSWORD_FILE": absolute}).broker.password == f" {SECRET} "


@pytest.mark.parametrize(
    "text",
    [
        f"broker = '{SECRET}'\n",
        f"[broker]\npassword = ['{SECRET}']\n",
        f"[broker]\npassword = {{ is = '{SECRET}' }}\n",
        f"[broker]\npassword = '{SECRET}'\nport = 0\n",
        f"[broker]\npasword = '{SECRET}'\n",
        f"[broker]\npassword = '{SECRET}'\npassword = '{SECRET}'\n",
        f"[broker]\npassword = '{SECRET}\n",
        f"[broker]\npassword = {SECRET}\n",
    ],
)
def test_no_mistake_shows_a_password(tmp_path: Path, text: str) -> None:
    path = tmp_path / "leerie.toml"
    path.write_text(text + WORKSHOP)
    for environ in ({}, {"LEERIE_BROKER": f'"{SECRET}"'}, {"LEERIE_BROKER": f'{{"password": [["{SECRET}"]]}}'}):
        with pytest.raises(ConfigError) as refusal:
            load(path, environ)
        assert refusal.value.problems
        assert SECRET not in str(refusal.value)
        assert SECRET not in repr(refusal.value.problems)


def test_no_picture_of_a_building_shows_its_password(build: Build) -> None:
    building = build(WORKSHOP, {"LEERIE_BROKER__PASSWORD": SECRET})
    assert building.broker.password == SECRET
    assert SECRET not in repr(building)
    assert SECRET not in str(building.broker.__rich_repr__())
