"""compose.yaml, its script and its README: read by docker-compose itself, held against the files that it mounts.

There is no Docker here, so nothing is started: `docker-compose config` (1.29 and newer; Debian 12: package
docker-compose) reads and judges the file, and the commands in it are tried with the programs that they name.
"""

import os
import re
import shutil
import stat
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml
from deployed import DEPLOY, DEVICES, WITHOUT_DOCKER, Deployed, fresh, prepare

from brokers import real_part
from leerie.config import load
from leerie.config.sources import environment as variables

COMPOSE = DEPLOY / "compose.yaml"
README = (DEPLOY / "README.md").read_text(encoding="utf-8")
COMPOSED: dict[str, Any] = yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSED["services"]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """deploy/ after the README's first command."""
    home = fresh(tmp_path_factory.mktemp("made"))
    prepare(home, *DEVICES)
    return home


@pytest.fixture
def home(made: Path, tmp_path: Path) -> Path:
    """A copy of that."""
    return shutil.copytree(made, tmp_path / "deploy")


def judged(home: Path, text: str) -> subprocess.CompletedProcess[str]:
    # The project's name at the top is newer than 1.29, and the one thing here that is.
    (home / "compose.yaml").write_text(text.replace("\nname: leerie\n", "\n"), encoding="utf-8")
    return subprocess.run(
        [real_part("docker-compose"), "config"], cwd=home, capture_output=True, text=True, check=False
    )


def test_docker_compose_understands_it(home: Path) -> None:
    done = judged(home, COMPOSE.read_text(encoding="utf-8"))
    assert (done.returncode, done.stderr) == (0, "")
    assert yaml.safe_load(done.stdout)["services"].keys() == {"broker", "leerie", "prometheus", "grafana"}


@pytest.mark.parametrize(
    ("line", "wrong"),
    [("init: true", "inti: true"), ("mem_limit: 256m", "mem_limit: [256]"), ("service_healthy", "service_hale")],
)
def test_docker_compose_would_say_so(home: Path, line: str, wrong: str) -> None:
    assert judged(home, COMPOSE.read_text(encoding="utf-8").replace(line, wrong)).returncode != 0


@pytest.mark.parametrize("name", SERVICES)
def test_each_service_is_shut_in_and_watched(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert {"mem_limit", "cpus", "pids_limit", "restart", "healthcheck"} <= service.keys()
    assert ":" in service["image"] or "build" in service
    for port in service["ports"]:
        assert port.startswith(("127.0.0.1:", "${BROKER_ADDRESS:-127.0.0.1}:"))


@pytest.mark.parametrize("name", SERVICES)
def test_what_is_mounted_is_there(name: str, home: Path) -> None:
    for volume in SERVICES[name]["volumes"]:
        source = volume.split(":")[0]
        if source.startswith("."):
            assert (home / source).exists(), source
            assert volume.endswith(":ro")
        else:
            assert source in COMPOSED["volumes"]
    for secret in SERVICES[name].get("secrets", []):
        source = secret if isinstance(secret, str) else secret["source"]
        assert (home / COMPOSED["secrets"][source]["file"]).read_text(encoding="utf-8").strip()


def test_the_readme_tells_every_variable() -> None:
    asked = re.findall(r"(?<!\$)\$\{(\w+)", COMPOSE.read_text(encoding="utf-8"))
    assert asked
    assert [name for name in asked if f"{name}=" not in README] == []


def test_leeries_variables_are_keys_of_the_config(home: Path) -> None:
    environment = SERVICES["leerie"]["environment"]
    assert variables(environment, {}).strays == {}
    load(home / "config" / "leerie.toml", environment | {"LEERIE_SECRETS_DIR": ""})
    (secret,) = SERVICES["leerie"]["secrets"]
    assert variables({secret["target"]: "x"}, {}).strays == {}


def test_the_broker_is_well_for_who_has_the_password_and_for_nobody_else(tmp_path: Path) -> None:
    """The health check's own command, where the secret and the port are elsewhere."""
    real_part("mosquitto_sub")
    kind, check = SERVICES["broker"]["healthcheck"]["test"]
    assert kind == "CMD-SHELL"
    with Deployed(tmp_path, "health") as broker:
        secret = tmp_path / "health"
        words = check.replace("$$", "$").replace("/run/secrets/health", str(secret))
        assert str(secret) in words
        for password, well in ((broker.passwords["health"], True), ("guessed", False)):
            secret.write_text(f"{password}\n", encoding="utf-8")
            asked = subprocess.run(["sh", "-c", f"{words} -p {broker.port}"], capture_output=True, check=False)
            assert (asked.returncode == 0) is well


# ---- prepare, and add with Docker ------------------------------------------------------------------------------------


def test_prepare_makes_what_is_missing_and_leaves_what_is_there(home: Path) -> None:
    before = {path.name: path.read_text(encoding="utf-8") for path in (home / "secrets").iterdir()}
    assert before.keys() == {"leerie", "people", "health", "grafana.admin", *DEVICES}
    assert len({*before.values()}) == len(before)
    assert stat.S_IMODE((home / "secrets").stat().st_mode) == 0o700
    (home / "config" / "leerie.toml").write_text("# mine\n", encoding="utf-8")
    passwords = (home / "mosquitto" / "passwords").read_text(encoding="utf-8").splitlines()
    prepare(home, "attic_pir", "grafana")  # a device may be called so, too
    after = {path.name: path.read_text(encoding="utf-8") for path in (home / "secrets").iterdir()}
    assert after.keys() == {*before, "attic_pir", "grafana"}
    assert before.items() <= after.items()
    assert (home / "config" / "leerie.toml").read_text(encoding="utf-8") == "# mine\n"
    assert {*passwords} < {*(home / "mosquitto" / "passwords").read_text(encoding="utf-8").splitlines()}


def test_the_containers_can_read_what_is_mounted_whatever_the_umask(tmp_path: Path) -> None:
    """Passwords and keys excepted. Whoever runs the tests may be root, to whom nothing is shut: the modes tell."""
    home = fresh(tmp_path)
    subprocess.run(["chmod", "-R", "go=", home], check=True)
    real_part("mosquitto_passwd")
    subprocess.run(
        ["sh", "-c", "umask 077 && exec ./prepare"], cwd=home, check=True, capture_output=True, env=WITHOUT_DOCKER
    )
    sources = [volume.split(":")[0] for service in SERVICES.values() for volume in service["volumes"]]
    mounted = [home / source for source in sources if source.startswith(".")]
    assert len(mounted) == 5
    everything = {path for source in mounted for path in (source, *source.rglob("*"))}
    closed = {str(path.relative_to(home)) for path in everything if _is_closed(path)}
    assert closed == {"mosquitto/passwords", "mosquitto/add", "mosquitto/certify"}
    assert _is_closed(home / "secrets")


def _is_closed(path: Path) -> bool:
    """To those who neither own it nor are of its group."""
    needed = 0o5 if path.is_dir() else 0o4
    return path.stat().st_mode & needed != needed


def test_prepare_stops_at_a_name_that_is_none(home: Path) -> None:
    done = subprocess.run([home / "prepare", "a b"], capture_output=True, check=False, env=WITHOUT_DOCKER)
    assert done.returncode == 2
    assert not (home / "secrets" / "a b").exists()


DOCKER = """#!/bin/sh
[ "$1" = info ] && exit 0
echo "$@" >>{log}
while [ "$1" != -c ]; do shift; done
script=$(echo "$2" | sed -e 's#/here/#{home}/#g' -e 's#chown#: chown#')
shift 2
exec sh -c "$script" "$@"
"""
"""In place of Docker, which is not here: runs what it is to run in a container beside it."""


def test_add_asks_docker_where_it_runs_and_hands_the_file_to_the_broker(tmp_path: Path) -> None:
    real_part("mosquitto_passwd")
    home = fresh(tmp_path) / "mosquitto"
    log = tmp_path / "log"
    stub = tmp_path / "bin" / "docker"
    stub.parent.mkdir()
    stub.write_text(DOCKER.format(log=log, home=home), encoding="utf-8")
    stub.chmod(0o755)
    path = f"{stub.parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        [home / "add", "leerie", "bench"], capture_output=True, text=True, check=True, env=os.environ | {"PATH": path}
    )
    assert [line.split()[0] for line in done.stdout.splitlines()] == ["leerie", "bench"]
    written = (home / "passwords").read_text(encoding="utf-8")
    assert [line.split(":")[0] for line in written.splitlines()] == ["leerie", "bench"]
    told = log.read_text(encoding="utf-8")
    assert f"-v {home}:/here {SERVICES['broker']['image']} " in told
    assert f"chown {SERVICES['broker']['user']} /here/passwords" in told


def test_add_says_what_is_missing(tmp_path: Path) -> None:
    """With a path on which there is neither Docker nor the broker's tool."""
    home = fresh(tmp_path) / "mosquitto"
    tools = tmp_path / "bin"
    tools.mkdir()
    for tool in ("sh", "dirname", "head", "base64"):
        (tools / tool).symlink_to(real_part(tool))
    done = subprocess.run(
        [home / "add", "bench"], capture_output=True, text=True, check=False, env=os.environ | {"PATH": str(tools)}
    )
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("add: Docker does not answer, and mosquitto_passwd is not installed")
    assert len(done.stderr.splitlines()) == 1
