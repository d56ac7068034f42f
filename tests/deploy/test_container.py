"""The image, really built and run by buildah, beside a mosquitto that deploy/prepare and deploy/mosquitto set up.

It is not for every run: it takes root, and the folder that LEERIE_BASE names, a Debian with Python and its venv module,
as `debootstrap --variant=minbase --include=ca-certificates,python3-venv bookworm FOLDER` makes one.
"""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

import pytest
import yaml
from containers import BASE, IMAGE, Booted, Container, Inside, Store
from deployed import DEPLOY, DEVICES, Deployed, fresh, prepare

from brokers import IN_CI, WITHIN_S, Person, free_port, real_part

pytestmark = pytest.mark.broker
STATE = "/var/lib/leerie"


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """With the image in it."""
    base = os.environ.get("LEERIE_BASE")
    if not base or os.geteuid() != 0:
        why = "only root, and only with LEERIE_BASE, the folder of a Debian with Python, can build and run the image"
        (pytest.fail if IN_CI else pytest.skip)(why)
    real_part("buildah")
    store = Store(tmp_path_factory.mktemp("images"))
    store.build(Path(base))
    yield store
    shutil.rmtree(store.folder)


class Site:
    """What the README's first command has made, the broker, and what of that the container sees."""

    def __init__(self, folder: Path) -> None:
        self.home = fresh(folder)
        prepare(self.home, *DEVICES)
        self.broker = Deployed(self.home)
        self.page = free_port()
        self.state = folder / "state"
        self.state.mkdir()
        os.chown(self.state, 9464, 9464)
        secrets = folder / "secrets"
        secrets.mkdir()
        shutil.copy(self.home / "secrets" / "leerie", secrets / "LEERIE_BROKER__PASSWORD")
        self.mounts = {self.state: STATE, self.home / "config": "/etc/leerie:ro", secrets: "/run/secrets:ro"}

    def environment(self) -> dict[str, str]:
        """As compose.yaml has it, but for where the broker and the page are, and a machine that has just started."""
        composed = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
        return composed["services"]["leerie"]["environment"] | {
            "LEERIE_BROKER__HOST": "127.0.0.1",
            "LEERIE_BROKER__PORT": str(self.broker.port),
            "LEERIE_SERVICE__METRICS": f"127.0.0.1:{self.page}",
            "LEERIE_SERVICE__TRUST_CLOCK_AFTER": "0s",
        }

    def somebody(self, name: str, *topics: str) -> Person:
        password = (self.home / "secrets" / name).read_text(encoding="utf-8").strip()
        return Person(self.broker.port, *topics, username=name, password=password)

    def in_the_broker(self, number: int) -> str:
        """What the README's command of that number, in the broker's container, prints with the broker that is here."""
        readme = (DEPLOY / "README.md").read_text(encoding="utf-8")
        commands = re.findall(r"^docker compose exec broker (.*)$", readme, re.MULTILINE)
        words = f"{commands[number]} -p {self.broker.port}"
        return subprocess.run(["sh", "-c", words], cwd=self.home, check=True, capture_output=True, text=True).stdout


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    site = Site(tmp_path)
    with site.broker:
        yield site


@pytest.fixture
def container(store: Store, site: Site) -> Iterator[Container]:
    with Container(store, site.mounts, site.environment()) as container:
        yield container


def command(store: Store) -> list[str]:
    config = store.inspect(IMAGE)["Docker"]["config"]
    return [*config["Entrypoint"], *config["Cmd"]]


def test_presence_goes_in_and_a_command_comes_out(store: Store, site: Site, container: Container) -> None:
    """And it is well, until SIGTERM ends it cleanly; begun again, it remembers."""
    health = store.inspect(IMAGE)["Docker"]["config"]["Healthcheck"]["Test"]
    assert health[0] == "CMD"
    with (
        site.somebody("people", "leerie/#") as people,
        site.somebody("bench", "lamps/#") as bench,
        Inside(container, *command(store)) as leerie,
    ):
        leerie.log.until("settled")
        site.in_the_broker(0)
        assert bench.hears("lamps/bench", lambda heard: heard.value["on"]).value["percent"] > 0
        people.hears("leerie/room/workshop/state", lambda heard: heard.value["state"] == "occupied")
        assert '"state":"occupied"' in site.in_the_broker(1)
        with urlopen(f"http://127.0.0.1:{site.page}/metrics", timeout=WITHIN_S) as page:
            assert b'leerie_messages_received_total{kind="presence"} 1.0' in page.read()
        well = container.do(*health[1:])
        assert well.code == 0
        assert "connected and deciding" in well.said

        status = leerie.status()
        assert status["Uid"].split() == ["9464"] * 4
        assert status["Gid"].split() == ["9464"] * 4
        assert int(status["CapEff"], 16) == 0

        assert leerie.end(signal.SIGTERM) == 0
        assert leerie.log.of("stopped")
        people.hears("leerie/service", lambda heard: heard.value == {"running": False})
        assert container.do(*health[1:]).code == 1
        assert [line for line in leerie.log.lines if line["level"] != "info"] == []
    assert {path.stat().st_uid for path in site.state.rglob("*")} == {9464}
    with Inside(container, *command(store)) as leerie:
        assert leerie.log.until("records found")["rooms"] == 2
        leerie.log.until("settled")
        assert leerie.end(signal.SIGTERM) == 0


DROP_IN = """
[Service]
Environment=LEERIE_BROKER__PORT={port}
Environment=LEERIE_SERVICE__METRICS=
Environment=LEERIE_SERVICE__TRUST_CLOCK_AFTER=0s
"""


@pytest.fixture
def with_systemd(store: Store, site: Site) -> Iterator[Path]:
    """The root of a container that has the unit as the README installs it, and systemd besides."""
    real_part("systemd-nspawn")
    name = store.do("from", IMAGE)
    packages = "apt-get update -q && apt-get install -q -y --no-install-recommends systemd systemd-sysv"
    store.do("run", "--isolation", "chroot", "--user", "0:0", name, "--", "sh", "-c", packages)
    root = Path(store.do("mount", name))
    shutil.copy(site.home / "leerie.example.toml", root / "etc" / "leerie" / "leerie.toml")
    shutil.copy(site.home / "secrets" / "leerie", root / "etc" / "leerie" / "password")
    (root / "etc" / "leerie" / "password").chmod(0o600)
    units = root / "etc" / "systemd" / "system"
    shutil.copy(site.home / "systemd" / "leerie", root / "usr" / "local" / "sbin" / "leerie")
    unit = units / "leerie.service"
    shutil.copy(site.home / "systemd" / unit.name, unit)
    (units / "multi-user.target.wants" / unit.name).symlink_to(f"/etc/systemd/system/{unit.name}")
    (units / f"{unit.name}.d").mkdir()
    (units / f"{unit.name}.d" / "here.conf").write_text(DROP_IN.format(port=site.broker.port), encoding="utf-8")
    (root / "var" / "lib" / "leerie").rmdir()  # the image's own
    yield root
    store.do("rm", name)


def test_the_unit_does_its_work_under_systemd(tmp_path: Path, site: Site, with_systemd: Path) -> None:
    """All that it shuts leaves the daemon what it needs: presence in, a command out, health, reload, a stop."""
    with (
        site.somebody("people", "leerie/#") as people,
        site.somebody("bench", "lamps/#") as bench,
        Booted(with_systemd, tmp_path / "ready") as booted,
    ):
        people.hears("leerie/service", lambda heard: heard.value["running"])
        people.hears("leerie/room/workshop/state")
        site.in_the_broker(0)
        assert bench.hears("lamps/bench", lambda heard: heard.value["on"]).value["percent"] > 0
        port = f"LEERIE_BROKER__PORT={site.broker.port}"
        well = booted.do("env", "--ignore-environment", port, "/usr/local/sbin/leerie", "health")
        assert (well.code, well.said.splitlines()[0]) == (0, "connected and deciding"), well.said
        so_far = people.count
        assert booted.do("systemctl", "reload", "leerie") == (0, "")
        people.hears("leerie/service", after=so_far)
        assert booted.do("systemctl", "stop", "leerie") == (0, "")
        people.hears("leerie/service", lambda heard: heard.value == {"running": False})
        shown = booted.do("systemctl", "show", "leerie", "--property=Result,ExecMainStatus,NRestarts").said.split()
        assert sorted(shown) == ["ExecMainStatus=0", "NRestarts=0", "Result=success"]
        log = booted.do("journalctl", "--unit=leerie", "--output=cat").said
    events = [json.loads(line) for line in log.splitlines() if line.startswith("{")]
    assert {"settled", "reloaded", "stopped"} <= {event["event"] for event in events}
    assert [event for event in events if event["level"] != "info"] == []
    kept = with_systemd / "var" / "lib" / "private" / "leerie"
    assert (kept / "records.db").exists()


def test_only_the_state_folder_can_be_written(container: Container) -> None:
    """So what ran above wrote nowhere else."""
    assert container.do("touch", f"{STATE}/x").code == 0
    for place in ("/", "/tmp", "/var/tmp", "/opt/leerie", "/etc/leerie"):
        assert "Read-only file system" in container.do("touch", f"{place}/x").said


def test_what_is_pinned_is_there_and_nothing_else(
    store: Store, container: Container, capsys: pytest.CaptureFixture[str]
) -> None:
    """No pip, either. How large that is, it says."""
    pinned = re.findall(
        r"^([\w.-]+)==(\S+?)(?: ;.*)? \\$", (DEPLOY / "requirements.txt").read_text(encoding="utf-8"), re.MULTILINE
    )
    listing = "from importlib.metadata import distributions as d; print(*(f'{x.name}=={x.version}' for x in d()))"
    installed = container.do("python3", "-c", listing).said.split()
    ours = [name for name in installed if name.startswith("leerie==")]
    assert len(ours) == 1
    assert sorted(name.lower().replace("_", "-") for name in installed if name not in ours) == sorted(
        f"{name}=={version}" for name, version in pinned
    )
    whole, base = store.bytes_of(IMAGE), store.bytes_of(BASE)
    with capsys.disabled():
        sys.stdout.write(f"\nthe image: {whole / 1e6:.0f} MB, {(whole - base) / 1e6:.0f} MB of it above the base\n")
    assert whole - base < 40e6
