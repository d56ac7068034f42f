"""An image built by buildah, and containers of it whose root is read-only."""

import json
import os
import socket
import subprocess
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

from deployed import ROOT

from brokers import WITHIN_S
from houses import Lines

CERTIFICATES = Path("/etc/ssl/certs/ca-certificates.crt")
PIP_KEYS = ("index-url", "extra-index-url", "trusted-host", "proxy")
BASE = "localhost/base"
IMAGE = "localhost/leerie"


class Store:
    """Images and containers in a folder of our own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._places = ("--root", str(folder / "store"), "--runroot", str(folder / "run"))

    def words(self, *words: str | Path) -> list[str]:
        return ["buildah", *self._places, *map(str, words)]

    def do(self, *words: str | Path) -> str:
        """What buildah prints; where it fails, all that it says."""
        done = subprocess.run(self.words(*words), capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"buildah {words[0]}: {done.stdout[-4000:]}{done.stderr[-4000:]}"
        return done.stdout.strip()

    def build(self, base: Path) -> None:
        """Makes an image of the base's folder, and on that the project's own."""
        recipe = self.folder / "base"
        recipe.write_text("FROM scratch\nCOPY . /\n", encoding="utf-8")
        usual = ("bud", "--isolation", "chroot", "--format", "docker")  # the other format knows no health check
        self.do(*usual, "--tag", BASE, "--file", recipe, base)
        self.do(*usual, "--tag", IMAGE, "--build-arg", f"BASE={BASE}", *self._way_to_the_index(), ROOT)

    def inspect(self, image: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.do("inspect", "--type", "image", image))
        return found

    def bytes_of(self, image: str) -> int:
        layers = json.loads(self.inspect(image)["Manifest"])["layers"]
        return sum(layer["size"] for layer in layers)

    def _way_to_the_index(self) -> Iterator[str]:
        """How this machine gets at packages is lent to the build, and stays out of the image."""
        file = self.folder / "pip.conf"
        variables = {key: os.environ.get("PIP_" + key.replace("-", "_").upper()) for key in PIP_KEYS}
        lines = [f"{key} = {value}" for key, value in variables.items() if value]
        if CERTIFICATES.exists():
            yield f"--volume={CERTIFICATES}:{CERTIFICATES}:ro"
            lines.append(f"cert = {CERTIFICATES}")
        file.write_text("\n".join(["[global]", *lines, ""]), encoding="utf-8")
        yield f"--volume={file}:/etc/pip.conf:ro"


class Done(NamedTuple):
    code: int
    said: str


class Container:
    """One container; what is started in it sees the machine's network."""

    def __init__(self, store: Store, mounts: Mapping[Path, str], environment: Mapping[str, str]) -> None:
        """`mounts`: what of this machine is seen where, and how: `/there:ro`."""
        self._store = store
        self._mounts = mounts
        self.name = store.do("from", IMAGE)
        for volume in store.inspect(IMAGE)["Docker"]["config"]["Volumes"]:  # it would lay one of its own over ours
            store.do("config", "--volume", f"{volume}-", self.name)
        self._words = ["run", "--isolation", "chroot"]
        self._words += [f"--volume={here}:{there}" for here, there in mounts.items()]
        self._words += [f"--env={name}={value}" for name, value in environment.items()]
        self._root = Path(store.do("mount", self.name))

    def __enter__(self) -> Self:
        """Buildah knows no read-only root, so it is made one from outside, with the places for what is mounted."""
        for here, there in self._mounts.items():
            place = self._root / there.removesuffix(":ro").lstrip("/")
            if here.is_dir():
                place.mkdir(parents=True, exist_ok=True)
            else:
                place.touch()
        subprocess.run(["mount", "--bind", self._root, self._root], check=True)
        subprocess.run(["mount", "-o", "remount,bind,ro", self._root], check=True)
        # buildah itself makes a file there, and takes it away again.
        subprocess.run(["mount", "-t", "tmpfs", "-o", "mode=755", "run", self._root / "run"], check=True)
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        subprocess.run(["umount", self._root / "run"], check=True)
        subprocess.run(["umount", self._root], check=True)
        self._store.do("rm", self.name)

    def words(self, *words: str) -> list[str]:
        return self._store.words(*self._words, self.name, "--", *words)

    def do(self, *words: str) -> Done:
        done = subprocess.run(self.words(*words), capture_output=True, text=True, check=False)
        return Done(done.returncode, done.stdout + done.stderr)


class Booted:
    """A container in which systemd is started, from a folder that is its root; it shares this machine's network."""

    def __init__(self, root: Path, ready: Path) -> None:
        """`ready`: a socket to be made, over which systemd says that it is up (sd_notify)."""
        self._ready = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._ready.bind(str(ready))
        self._ready.settimeout(6 * WITHIN_S)
        words = ["systemd-nspawn", "--register=no", "--keep-unit", "--console=pipe", "--notify-ready=yes", "--boot"]
        self._process = subprocess.Popen(
            [*words, "--directory", root],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            env=os.environ | {"NOTIFY_SOCKET": str(ready)},
        )

    def __enter__(self) -> Self:
        """Returns when systemd is up."""
        with self._ready:
            try:
                while "READY=1" not in self._ready.recv(4096).decode().splitlines():
                    pass
            except TimeoutError:
                self._process.terminate()
                raise
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        self.do("systemctl", "poweroff", "--force", "--force")
        self._process.wait(WITHIN_S)

    def do(self, *words: str) -> Done:
        """Inside, as root."""
        (systemd,) = children(self._process.pid)
        inside = ("nsenter", "--target", str(systemd), "--mount", "--uts", "--ipc", "--pid", "--root", "--wd=/")
        done = subprocess.run([*inside, *words], capture_output=True, text=True, check=False)
        return Done(done.returncode, done.stdout + done.stderr)


class Inside:
    """A process in a container, its log, and what this machine knows of it."""

    def __init__(self, container: Container, *words: str) -> None:
        self.log = Lines()
        self._process = subprocess.Popen(container.words(*words), stderr=subprocess.PIPE, text=True)
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _at: TracebackType | None
    ) -> None:
        if self._process.poll() is None:
            os.kill(self.pid, 9)
        self._process.wait(WITHIN_S)
        self._reader.join(WITHIN_S)
        assert not [line for line in self.log.other if "Traceback" in line]

    @property
    def pid(self) -> int:
        """Of the youngest generation: what buildah has started, and not buildah."""
        pid = self._process.pid
        while offspring := children(pid):
            pid = offspring[0]
        return pid

    def status(self) -> dict[str, str]:
        lines = Path(f"/proc/{self.pid}/status").read_text(encoding="utf-8").splitlines()
        return {key: value.strip() for key, _, value in (line.partition(":") for line in lines)}

    def end(self, number: int) -> int:
        """Sends the signal, and waits for the exit code."""
        os.kill(self.pid, number)
        return self._process.wait(WITHIN_S)

    def _read(self) -> None:
        assert self._process.stderr is not None
        with self._process.stderr as lines:
            for line in lines:
                self.log.write(line)


def children(pid: int) -> list[int]:
    """Whichever of its threads has started them."""
    files = sorted(Path(f"/proc/{pid}/task").glob("*/children"))
    return [int(child) for file in files for child in file.read_text(encoding="utf-8").split()]
