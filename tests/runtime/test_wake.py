"""What wakes the deciding thread. A wait that nothing ends would show as an empty answer after the bound."""

import selectors
import signal
import socket
import threading

import pytest

from brokers import WITHIN_S, at
from leerie.runtime import daemon, link
from leerie.runtime.link import Link
from leerie.runtime.wake import Wake


def awake(wake: Wake) -> bool:
    with selectors.DefaultSelector() as selector:
        selector.register(wake, selectors.EVENT_READ)
        return bool(selector.select(WITHIN_S))


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_calls_who_it_is_for_and_wakes_the_sleeper(number: signal.Signals) -> None:
    wake, stopped, reloaded = Wake(), threading.Event(), threading.Event()
    before = signal.getsignal(number)
    with wake.signals(stopped.set, reloaded.set):
        signal.raise_signal(number)
        assert reloaded.is_set() is (number == signal.SIGHUP)
        assert stopped.is_set() is not reloaded.is_set()
        assert awake(wake)
    assert signal.getsignal(number) is before
    wake.close()


def test_another_thread_wakes_it_as_often_as_it_likes() -> None:
    wake = Wake()
    caller = threading.Thread(target=lambda: [wake.call() for _ in range(100_000)])
    caller.start()
    caller.join(WITHIN_S)
    assert not caller.is_alive(), "calling never waits, even when nobody listens"
    assert awake(wake)
    wake.drain()
    wake.close()
    wake.call()


def test_a_link_that_waits_for_long_is_woken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not by its own longest wait, which is out of reach here, but by the call."""
    monkeypatch.setattr(link, "CAP_S", 1_000.0)
    wake = Wake()
    idle = Link(at(1), wake, instance="test", farewell=b"", displaces=lambda _: False)
    idle._try_at_s = float("inf")
    turned = threading.Thread(target=lambda: list(idle.step(1_000)), daemon=True)
    turned.start()
    wake.call()
    turned.join(WITHIN_S)
    assert not turned.is_alive()
    idle.close()
    wake.close()


def test_a_host_that_does_not_answer_does_not_keep_the_link() -> None:
    """Dialling blocks a thread of its own: the step that begins it comes back, and the link can be closed."""
    with socket.create_server(("127.0.0.1", 0), backlog=1) as deaf:
        wake = Wake()
        dialling = Link(at(deaf.getsockname()[1]), wake, instance="test", farewell=b"", displaces=lambda _: False)
        assert list(dialling.step(0)) == []
        assert dialling._dialling is not None
        dialling.close()
        wake.close()


def test_no_wait_of_a_clean_stop_is_longer_than_a_second() -> None:
    """One pause for the broker to take the farewell is all there is; the loop itself is woken at once."""
    assert daemon.LEAVE_S < 1
    assert link.CAP_S <= 1
