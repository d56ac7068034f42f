"""TLS with a real broker: what is wrong is one clear line, nothing goes on without it, and no password goes out."""

import contextlib
import gc
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest

from brokers import WITHIN_S, Mosquitto, at, certificates, real_part
from houses import Service, workshop
from leerie.config.running import Broker, Tls
from leerie.runtime import dialling
from leerie.runtime.backoff import Backoff
from leerie.runtime.events import Unreachable
from leerie.runtime.visit import NoVisitError, Visit
from links import Driver, linked

pytestmark = [
    pytest.mark.broker,
    # paho leaves the socket of a failed handshake to the garbage collector.
    pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning"),
]

PASSWORD = "rosin-and-horsehair"  # noqa: S105 -- of a broker that lives as long as its test
TLS_HANDSHAKE = 0x16
"""RFC 8446, 5.1: the first byte of each record of a handshake."""


@pytest.fixture(autouse=True)
def _no_time_to_lose(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(Backoff, "next_s", lambda _: 0.0)
    monkeypatch.setattr(dialling, "LOOK_S", 0.1)
    yield
    gc.collect()


@pytest.fixture(scope="session")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An authority, a server and a client of its; and in `other` those of an authority that nobody here knows."""
    folder = certificates(tmp_path_factory.mktemp("papers"))
    (folder / "other").mkdir()
    certificates(folder / "other")
    return folder


def served(folder: Path, papers: Path, *settings: str, server: str = "server") -> Mosquitto:
    """A broker that speaks TLS, and lets in whom `settings` let in."""
    tls = (f"cafile {papers / 'ca.pem'}", f"certfile {papers / server}.pem", f"keyfile {papers / 'server.key'}")
    return Mosquitto(folder, ("allow_anonymous true", *tls, *settings))


def ours(papers: Path, *, client: Path | None = None) -> Tls:
    """We trust this authority, and show the certificate of that client."""
    shown = (str(client / "client.pem"), str(client / "client.key")) if client is not None else (None, None)
    return Tls(str(papers / "ca.pem"), *shown)


def turned_away(broker: Broker) -> str:
    """Why, as the link and as a visit say it: once, however often it tries, and without ever being let in."""
    with linked(broker) as driver:
        event = driver.until(Unreachable)
        assert isinstance(event, Unreachable)
        _try_again(driver)
        assert driver.events == [event]
    with pytest.raises(NoVisitError) as caught, Visit(broker, "somebody"):
        pass
    assert str(caught.value) == event.why
    return event.why


def _try_again(driver: Driver) -> None:
    tried = [driver.link._dialling]

    def twice() -> bool:
        if driver.link._dialling is not None and driver.link._dialling is not tried[-1]:
            tried.append(driver.link._dialling)
        return len(tried) > 2

    driver.turn(twice)


def test_an_authority_that_we_do_not_know(tmp_path: Path, papers: Path) -> None:
    with served(tmp_path, papers) as mosquitto:
        why = turned_away(at(mosquitto.port, tls=ours(papers / "other"), username="leerie", password=PASSWORD))
        assert why.startswith("its certificate is not trusted: ")
        assert not _let_in(mosquitto)


def test_a_certificate_of_another_host(tmp_path: Path, papers: Path) -> None:
    """The right authority, and no name of the host that we have called."""
    with served(tmp_path, papers) as mosquitto:
        broker = msgspec.structs.replace(at(mosquitto.port, tls=ours(papers)), host="localhost")
        assert turned_away(broker) == (
            "its certificate is not trusted: Hostname mismatch, certificate is not valid for 'localhost'."
        )
        assert not _let_in(mosquitto)


def test_a_certificate_that_has_expired(tmp_path: Path, papers: Path) -> None:
    expired(papers)
    with served(tmp_path, papers, server="expired") as mosquitto:
        broker = at(mosquitto.port, tls=ours(papers))
        assert turned_away(broker) == "its certificate is not trusted: certificate has expired"
        assert not _let_in(mosquitto)


WANTS_OURS = "does it want a certificate of leerie's (broker.tls.certificate and key)?"


@pytest.mark.parametrize("protocol", ["auto", "5", "3.1.1"])
def test_no_certificate_of_ours_where_one_is_demanded(tmp_path: Path, papers: Path, protocol: str) -> None:
    """From TLS 1.3 on the broker's reason mostly goes down with the connection."""
    with served(tmp_path, papers, "require_certificate true") as mosquitto:
        why = turned_away(at(mosquitto.port, protocol, tls=ours(papers)))
        assert why == f"it closed the connection without a word; {WANTS_OURS}"
        assert not _let_in(mosquitto)


def test_no_certificate_of_ours_where_tls_1_2_demands_one(papers: Path) -> None:
    """There the reason comes before anything else (RFC 5246, 7.2.2: handshake_failure)."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH, cafile=str(papers / "ca.pem"))
    context.load_cert_chain(papers / "server.pem", papers / "server.key")
    context.maximum_version = ssl.TLSVersion.TLSv1_2
    context.verify_mode = ssl.CERT_REQUIRED

    def refuse(client: socket.socket) -> None:
        shaking = context.wrap_socket(client, server_side=True, do_handshake_on_connect=False)
        with contextlib.suppress(ssl.SSLError):
            shaking.do_handshake()
        with socket.socket(fileno=shaking.detach()) as bare, contextlib.suppress(OSError):
            while bare.recv(65_536):  # or the alert would be lost, as with TLS 1.3
                pass

    with answering(refuse) as port:
        why = turned_away(at(port, tls=ours(papers)))
        assert why == f"it refuses our TLS: sslv3 alert handshake failure; {WANTS_OURS}"


def test_a_certificate_of_ours_that_the_broker_does_not_trust(tmp_path: Path, papers: Path) -> None:
    with served(tmp_path, papers, "require_certificate true") as mosquitto:
        tls = ours(papers, client=papers / "other")
        assert turned_away(at(mosquitto.port, tls=tls)) == (
            f"it closed the connection without a word; does it trust broker.tls.certificate {tls.certificate}?"
        )
        assert not _let_in(mosquitto)


def test_without_tls_at_a_port_for_tls(tmp_path: Path, papers: Path) -> None:
    with served(tmp_path, papers) as mosquitto:
        assert turned_away(at(mosquitto.port)) == (
            f"it closed the connection without a word; is port {mosquitto.port} for TLS, and broker.tls missing?"
        )


def test_tls_at_a_port_without_it(tmp_path: Path, papers: Path) -> None:
    with Mosquitto(tmp_path) as mosquitto:
        why = turned_away(at(mosquitto.port, tls=ours(papers)))
        assert why.startswith("no TLS came about: ")
        assert why.endswith(f"; does port {mosquitto.port} speak TLS?")
        assert not _let_in(mosquitto)


@pytest.mark.parametrize(
    "answer", [b"", b"\x20\x02\x00\x00", b"HTTP/1.1 400 Bad Request\r\n\r\n"], ids=["none", "CONNACK", "HTTP"]
)
def test_who_answers_without_tls_never_hears_anything_but_tls(papers: Path, answer: bytes) -> None:
    """Whatever is wrong, it never goes on in the clear: no CONNECT goes out, and no password in it."""
    heard: list[bytes] = []

    def answer_in_the_clear(client: socket.socket) -> None:
        with client:
            heard.append(client.recv(65_536))
            client.sendall(answer)

    with answering(answer_in_the_clear) as port:
        turned_away(at(port, tls=ours(papers), username="leerie", password=PASSWORD))
    assert len(heard) >= 3
    assert {said[0] for said in heard} == {TLS_HANDSHAKE}
    assert not [said for said in heard if PASSWORD.encode() in said]


@pytest.mark.parametrize("where", ["environment", "secrets folder", "file"])
def test_with_a_password_over_tls_it_gets_in_and_shows_it_to_nobody(
    tmp_path: Path, papers: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    """From wherever it comes; with the broker's log at its most talkative, ours holds all that it ever says."""
    passwords = tmp_path / "passwords"
    make = [real_part("mosquitto_passwd"), "-b", "-c", passwords, "leerie", PASSWORD]
    subprocess.run(make, check=True, capture_output=True)
    for name in ("ca.pem", "client.pem", "client.key"):
        shutil.copy(papers / name, tmp_path)
    lines = ['username = "leerie"', 'tls = { ca = "ca.pem", certificate = "client.pem", key = "client.key" }']
    (tmp_path / "secrets").mkdir()
    match where:
        case "environment":
            monkeypatch.setenv("LEERIE_BROKER__PASSWORD", PASSWORD)
        case "secrets folder":
            monkeypatch.setenv("LEERIE_SECRETS_DIR", str(tmp_path / "secrets"))
            (tmp_path / "secrets" / "leerie_broker__password").write_text(f"{PASSWORD}\n")
        case _:
            lines.append('password_file = "broker-password"')
            (tmp_path / "broker-password").write_text(f"{PASSWORD}\n")
    demands = ("require_certificate true", "allow_anonymous false", f"password_file {passwords}")
    with served(tmp_path, papers, *demands) as mosquitto:
        with Service(workshop(tmp_path, mosquitto.port, "\n".join(lines))) as service:
            service.log.until("settled")
            service.end()
        assert _let_in(mosquitto)
        shown = [*map(str, service.log.lines), *service.log.other]
        assert not [line for line in shown if PASSWORD in line]


def test_the_daemon_says_it_in_one_line_and_comes_up_when_it_is_mended(tmp_path: Path, papers: Path) -> None:
    shutil.copy(papers / "other" / "ca.pem", tmp_path)
    with (
        served(tmp_path, papers) as mosquitto,
        Service(workshop(tmp_path, mosquitto.port, 'tls = { ca = "ca.pem" }')) as service,
    ):
        line = service.log.until("not connected, trying again")
        assert line["why"].startswith("its certificate is not trusted: ")
        shutil.copy(papers / "ca.pem", tmp_path)
        service.log.until("settled")
        assert len(service.log.of("not connected, trying again")) == 1
        assert not [line for line in service.log.other if "config:" not in line]


@contextlib.contextmanager
def answering(answer: Callable[[socket.socket], None]) -> Iterator[int]:
    """A port at which each caller gets this answer, one after the other."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def listen() -> None:
            while True:
                try:
                    client, _address = server.accept()
                except OSError:
                    return
                answer(client)

        thread = threading.Thread(target=listen)
        thread.start()
        yield server.getsockname()[1]
        server.shutdown(socket.SHUT_RDWR)
        thread.join(WITHIN_S)


def expired(papers: Path) -> None:
    """A certificate of the same authority and server that was good in 2020."""
    openssl = real_part("openssl")
    (papers / "index").write_text("")
    (papers / "authority").write_text(
        "[ca]\ndefault_ca = one\n[one]\ndatabase = index\nnew_certs_dir = .\nserial = serial\ndefault_md = sha256\n"
        "policy = any\n[any]\ncommonName = supplied\n"
    )
    (papers / "serial").write_text("07\n")
    words = ["ca", "-config", "authority", "-batch", "-notext", "-cert", "ca.pem", "-keyfile", "ca.key"]
    words += ["-in", "server.csr", "-out", "expired.pem", "-extfile", "names"]
    words += ["-startdate", "20200101000000Z", "-enddate", "20200201000000Z"]
    subprocess.run([openssl, *words], cwd=papers, check=True, capture_output=True)


def _let_in(mosquitto: Mosquitto) -> bool:
    return any("New client connected" in line for line in mosquitto.log)
