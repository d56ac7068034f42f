"""The broker as deploy/ sets it up, with the real mosquitto: who gets in, who may do what, and who may not."""

import re
import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from deployed import DEPLOY, HEARD_BY_ALL, Deployed, Member
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from brokers import WITHIN_S, Mosquitto, at, free_port, real_part
from houses import House, workshop
from leerie.config.running import Tls
from leerie.runtime import dialling, settling
from leerie.runtime.backoff import Backoff
from leerie.runtime.events import Linked
from leerie.runtime.visit import Visit
from links import linked

pytestmark = pytest.mark.broker

STATES = ("leerie/room/workshop/state", "leerie/room/stair/state", "leerie/sky", "leerie/service")
WISHES = tuple(f"leerie/room/{room}/{kind}" for room in ("workshop", "stair") for kind in ("hold", "ask", "bias"))
MEMORY = ("leerie/memory/workshop", "leerie/memory/stair")
SENSORS = ("sensors/bench_radar", "sensors/bench_radar/cell", "sensors/stair_pir", "sensors/button")
LAMPS = ("lamps/bench", "lamps/bench/do", "lamps/sign/do", "lamps/stair/do")
ELSEWHERE = ("leerie/canary", "leerie", "weather/now", "sensors", "lamps", "bench_radar/x", "$SYS/broker/uptime")
EVERYTHING = (*STATES, *WISHES, *MEMORY, *SENSORS, *LAMPS, *ELSEWHERE)


def of(name: str) -> tuple[str, ...]:
    return tuple(topic for topic in EVERYTHING if topic.split("/")[1:2] == [name])


PUBLISHES = {
    "leerie": (*STATES, *WISHES, *MEMORY, *LAMPS, "lamps", "leerie", "leerie/canary"),
    "people": WISHES,
    "bench_radar": ("sensors/bench_radar", "sensors/bench_radar/cell"),
    "button": ("sensors/button",),
    "bench": (),
    "stair": (),
}
"""All that each may say."""
HEARS = {
    "leerie": (*STATES, *WISHES, *MEMORY, *SENSORS, "sensors", "leerie", "leerie/canary"),
    "people": STATES,
    "bench_radar": (),
    "button": (),
    "bench": ("lamps/bench", "lamps/bench/do"),
    "stair": ("lamps/stair/do",),
}
"""All that each may hear."""


@pytest.fixture(scope="module")
def deployed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Deployed]:
    with Deployed(tmp_path_factory.mktemp("deployed"), *PUBLISHES) as broker:
        yield broker


@pytest.mark.parametrize("name", PUBLISHES)
def test_each_may_say_what_it_must_and_nothing_else(deployed: Deployed, name: str) -> None:
    with deployed.client(name) as member:
        said = [topic for topic in EVERYTHING if member.may_say(topic)]
        assert sorted(said) == sorted(PUBLISHES[name])


def test_each_hears_what_it_must_and_nothing_else(deployed: Deployed) -> None:
    """The auditor says something on every topic; what comes from one comes in order, its last word last."""
    members = {name: deployed.client(name) for name in HEARS}
    with deployed.client("auditor") as auditor:
        for member in members.values():
            member.__enter__()
        for topic in (*EVERYTHING, HEARD_BY_ALL):
            if not topic.startswith("$"):
                assert auditor.may_say(topic)
        heard = {name: sorted(member.all_heard()) for name, member in members.items()}
        for member in members.values():
            member.__exit__(None, None, None)
    assert heard == {name: sorted(topics) for name, topics in HEARS.items()}


def test_a_last_will_has_no_more_rights_than_who_leaves_it(deployed: Deployed) -> None:
    wills = ("lamps/bench/do", "leerie/room/workshop/hold", "leerie/service", "sensors/bench_radar")
    with deployed.client("auditor") as auditor:
        for will in wills:
            client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
            client.username_pw_set("bench_radar", deployed.passwords["bench_radar"])
            client.will_set(will, "1", qos=1)
            client.connect("127.0.0.1", deployed.port)
            while not client.is_connected():
                assert client.loop(WITHIN_S) == 0
            sock = client.socket()
            assert sock is not None
            sock.shutdown(socket.SHUT_RDWR)
            client.loop_misc()
            sock.close()
        auditor.hears(wills[-1])
        assert not {*wills[:-1]} & {*auditor.heard}


def test_nobody_gets_in_without_a_name_and_its_password(deployed: Deployed) -> None:
    with linked(at(deployed.port)) as driver:
        assert "without broker.username" in str(driver.until(lambda event: not isinstance(event, Linked)))
    with linked(at(deployed.port, username="people", password=deployed.passwords["leerie"])) as driver:
        assert "with this password" in str(driver.until(lambda event: not isinstance(event, Linked)))


def test_one_more_device_takes_one_command_and_no_restart(tmp_path: Path) -> None:
    """It needs no line in `access`; and who is added again has a new password, and the old one is good no more."""
    with Deployed(tmp_path, "leerie") as broker:
        assert broker._process is not None
        before = broker.passwords["leerie"]
        broker.passwords |= broker.add("attic_pir", "leerie")
        broker._process.send_signal(1)
        _until(broker, "Reloading config")
        with broker.client("attic_pir") as attic, broker.client("leerie") as leerie:
            assert attic.may_say("sensors/attic_pir/seen")
            assert not attic.may_say("sensors/bench_radar")
            assert leerie.may_say("lamps/attic")
        with linked(at(broker.port, username="leerie", password=before)) as driver:
            assert "with this password" in str(driver.until(lambda event: not isinstance(event, Linked)))


def test_what_the_readme_adds_does_what_it_says(tmp_path: Path) -> None:
    """A gateway with topics of its own, and a till that may ask for light in one room."""
    blocks = re.findall(r"```text\n(user .*?)```", (DEPLOY / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    with Deployed(tmp_path, "leerie", "gateway", "till", more_access="\n" + "\n".join(blocks)) as broker:
        with broker.client("gateway") as gateway:
            said = [topic for topic in (*EVERYTHING, "radio/7/says", "radio/7/do") if gateway.may_say(topic)]
            assert said == ["radio/7/says"]
        with broker.client("leerie") as leerie:
            said = [topic for topic in (*EVERYTHING, "radio/7/says", "radio/7/do") if leerie.may_say(topic)]
            assert sorted(said) == sorted((*PUBLISHES["leerie"], "radio/7/do"))
        with broker.client("till") as till:
            assert [topic for topic in EVERYTHING if till.may_say(topic)] == ["leerie/room/workshop/ask"]
        with broker.client("gateway") as gateway, broker.client("leerie") as leerie, broker.client("till") as till:
            with broker.client("auditor") as auditor:
                for topic in ("radio/7/says", "radio/7/do", *STATES, *MEMORY, HEARD_BY_ALL):
                    auditor.may_say(topic)
            assert gateway.all_heard() == ["radio/7/do"]
            assert leerie.all_heard() == ["radio/7/says", *STATES, *MEMORY]
            assert till.all_heard() == ["leerie/room/workshop/state"]


# ---- the daemon with these rights ------------------------------------------------------------------------------------


def config_for(folder: Path, broker: Deployed) -> Path:
    login = f'username = "leerie"\npassword = "{broker.passwords["leerie"]}"'
    path = workshop(folder, broker.port, login)
    text = path.read_text()
    for before, after in (
        ("workshop/bench/radar", "bench_radar"),
        ("workshop/button", "button"),
        ("stair/pir", "stair_pir"),
    ):
        text = text.replace(f'topic = "{before}"', f'topic = "sensors/{after}"')
    path.write_text(text)
    return path


NAMES_A_TOPIC = (
    "the broker does not let us publish",
    "the broker does not serve us, its access list may say why",
    "undelivered",
)


def test_the_daemon_has_all_that_it_needs(tmp_path: Path) -> None:
    """From a sensor to a lamp, a wish of somebody's and a wish of nobody's; and not one line of complaint."""
    with (
        Deployed(tmp_path, *PUBLISHES) as broker,
        broker.client("bench_radar") as radar,
        broker.client("bench") as bench,
        broker.client("people") as people,
        House(config_for(tmp_path, broker)) as house,
    ):
        assert radar.may_say("sensors/bench_radar", "true")
        house.log.until(
            "decided", lambda line: line["room"] == "workshop" and line["state"] in ("arriving", "occupied")
        )
        bench.hears("lamps/bench/do")
        assert people.may_say("leerie/room/workshop/hold", "start")
        house.log.until("hold begun")
        for nobody in (radar, bench):
            assert not nobody.may_say("leerie/room/workshop/hold", "end")
            assert not nobody.may_say("leerie/service", '{"running": true, "since": "2099-01-01T00:00:00+00:00"}')
            assert not nobody.may_say("leerie/memory/workshop", "", retain=True)
        assert not people.may_say("lamps/bench/do", "1")
        assert people.may_say("leerie/room/workshop/hold", "end")
        assert house.log.until("hold ended")["why"] == "end"
        assert not [line for name in NAMES_A_TOPIC for line in house.log.of(name)]
        assert {topic.split("/")[1] for topic in people.heard} <= {"room", "sky", "service"}


def test_a_device_that_calls_itself_leerie_does_not_keep_it_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A broker throws off who was there under a client id (MQTT 5.0, 3.1.4), and no access file speaks of those."""
    monkeypatch.setattr(Backoff, "next_s", lambda _: 0.0)
    monkeypatch.setattr(dialling, "LOOK_S", 0.1)
    with Deployed(tmp_path, *PUBLISHES) as broker, House(config_for(tmp_path, broker)) as house:

        def settled(times: int) -> None:
            house.log.until("settled", lambda _: len(house.log.of("settled")) == times)

        for times in range(1, 4):
            settled(times)
            with Member(broker.port, "button", broker.passwords["button"], client_id="leerie"):
                house.log.until("connection lost", lambda _, times=times: len(house.log.of("connection lost")) == times)
        settled(4)
        assert "is another client called leerie, too?" in house.log.of("connection lost")[-1]["why"]
        with (
            Member(broker.port, "button", broker.passwords["button"], client_id="leerie") as impostor,
            broker.client("bench_radar") as radar,
            broker.client("bench") as bench,
        ):
            assert radar.may_say("sensors/bench_radar", "true")
            bench.hears("lamps/bench/do")
            assert not impostor.may_say("lamps/bench/do")
        assert len(house.log.of("connection lost")) == 3


def test_each_right_that_is_taken_away_is_named_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settling, "CANARY_S", 2)
    published = ["leerie/service", "leerie/sky", "leerie/room/stair/state", "leerie/memory/stair"]
    denied = ["leerie/canary", "lamps/stair/do", *published]
    lines = "\nuser leerie\n" + "".join(f"topic deny {topic}\n" for topic in denied)
    with Deployed(tmp_path, *PUBLISHES, more_access=lines) as broker, House(config_for(tmp_path, broker)) as house:
        with broker.client("auditor") as somebody:
            somebody.may_say("sensors/stair_pir", "true")
        for topic in published:
            house.log.until(NAMES_A_TOPIC[0], lambda line, topic=topic: line["topic"] == topic)
        assert [line["topic"] for line in house.log.of(NAMES_A_TOPIC[1])] == ["leerie/canary"]
        line = house.log.until("undelivered")
        assert (line["fixture"], line["topic"]) == ("stair", "lamps/stair/do")
        assert sorted(line["topic"] for line in house.log.of(NAMES_A_TOPIC[0])) == sorted(published)


def test_a_broker_that_refuses_a_subscription_is_told_of_by_topic(tmp_path: Path) -> None:
    """Mosquitto's access file refuses none, it just keeps silent. Its own plugin does refuse."""
    plugins = [*Path("/usr/lib").glob("*/mosquitto_dynamic_security.so")]
    assert plugins, "Debian's mosquitto brings it along"
    rights = {
        "defaultACLAccess": {
            "publishClientSend": True, "publishClientReceive": True, "subscribe": True, "unsubscribe": True,
        },
        "anonymousGroup": "all",
        "clients": [],
        "groups": [{"groupname": "all", "roles": [{"rolename": "most", "priority": 1}], "clients": []}],
        "roles": [
            {
                "rolename": "most",
                "acls": [{"acltype": "subscribeLiteral", "topic": "stair/pir", "priority": 9, "allow": False}],
            }
        ],
    }  # fmt: skip
    (tmp_path / "rights.json").write_bytes(msgspec.json.encode(rights))
    settings = ("allow_anonymous true", f"plugin {plugins[0]}", f"plugin_opt_config_file {tmp_path / 'rights.json'}")
    with Mosquitto(tmp_path, settings) as broker, House(workshop(tmp_path, broker.port)) as house:
        assert [line["topic"] for line in house.log.of(NAMES_A_TOPIC[1])] == ["stair/pir"]


# ---- TLS -------------------------------------------------------------------------------------------------------------


def test_with_the_certificates_that_the_script_makes_it_speaks_tls(tmp_path: Path) -> None:
    """The lines for it only want their # taken away; both ports serve, and certificates are made anew as often as one
    likes under the same authority.
    """
    real_part("openssl")

    tls_port = free_port()

    def uncommented(conf: str) -> str:
        text, count = re.subn(r"^#(listener 8883|(?:ca|cert|key)file .*)$", r"\1", conf, flags=re.MULTILINE)
        assert count == 4
        return text.replace("listener 8883", f"listener {tls_port} 127.0.0.1")

    home = tmp_path / "mosquitto"
    shutil.copytree(DEPLOY / "mosquitto", home)
    for names in (["127.0.0.1"], ["broker.workshop.example", "127.0.0.1", "::1"]):
        subprocess.run([home / "certify", *names], check=True, capture_output=True)
        assert (home / "certificates" / "ca.key").stat().st_mode & 0o077 == 0
        assert (home / "certificates" / "broker.key").stat().st_mode & 0o077 == 0
    authority = (home / "certificates" / "ca.pem").read_bytes()
    with Deployed(tmp_path, "leerie", conf=uncommented) as broker:
        assert (broker.home / "certificates" / "ca.pem").read_bytes() == authority
        tls = Tls(str(home / "certificates" / "ca.pem"), None, None)
        for port, papers in ((broker.port, None), (tls_port, tls)):
            with Visit(
                at(port, tls=papers, username="leerie", password=broker.passwords["leerie"]), "leerie-1"
            ) as visit:
                visit.subscribe(("leerie/service",))


@pytest.mark.parametrize(
    "words", [["add"], ["add", "a b"], ["add", "x:y"], ["add", "../x"], ["certify"], ["certify", "a,DNS:b"]]
)
def test_the_scripts_refuse_what_makes_no_sense_and_touch_nothing(tmp_path: Path, words: list[str]) -> None:
    home = tmp_path / "mosquitto"
    shutil.copytree(DEPLOY / "mosquitto", home)
    before = sorted(home.iterdir())
    done = subprocess.run([home / words[0], *words[1:]], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert sorted(home.iterdir()) == before


def _until(broker: Mosquitto, wanted: str) -> None:
    waited = threading.Event()
    for _ in range(200):
        if any(wanted in line for line in broker.log):
            return
        waited.wait(0.05)
    pytest.fail(f"mosquitto did not say: {wanted}")
