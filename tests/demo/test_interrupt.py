"""Ctrl-C reaches every process of the terminal; of the demo's, one alone acts on it."""

import signal
from multiprocessing import Pipe
from multiprocessing.connection import Connection

from leerie.cli.demo import backstage


def _tell(told: Connection) -> None:
    told.send(signal.pthread_sigmask(signal.SIG_BLOCK, ()))


def test_what_works_behind_the_scenes_is_deaf_to_it_from_the_first_moment_on() -> None:
    ours, its = Pipe()
    process = backstage._spawned(_tell, its)
    assert signal.SIGINT in ours.recv()
    process.join()
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())
