"""What a command writes to: any terminal, a pipe whose reader may leave, a disk that may be full, or nothing at all."""

import errno
import os
import sys

_UNWRITABLE = (errno.EBADF, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.ENOSPC)


def make_forgiving() -> None:
    """From now on what a stream cannot encode is written as a question mark; without stderr, errors go nowhere."""
    if sys.stderr is None:  # print() would take stdout for it
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123 - for as long as the process lives
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def check_writable() -> None:
    """Raises OSError where stdout was closed before we began."""
    if sys.stdout is None:
        raise OSError(errno.EBADF, "it is closed")


def flush() -> None:
    """Raises OSError where it cannot be written."""
    if sys.stdout is not None:
        sys.stdout.flush()


def why_unwritable(fault: Exception) -> str | None:
    """In words, if the fault is that stdout cannot be written; files and sockets are told of where they are used."""
    if isinstance(fault, OSError) and fault.filename is None and fault.errno in _UNWRITABLE:
        return f"cannot write the output: {str(fault.strerror).lower()}"
    return None


def give_up() -> None:
    """Whatever is yet to be written to stdout goes nowhere."""
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def columns(most: int) -> int:
    """The width of the terminal, at most that many columns."""
    from shutil import get_terminal_size  # noqa: PLC0415 - takes its time; an error is told without it

    return min(most, max(20, get_terminal_size().columns))
