"""Why a room's lamps are as they are, or would be, down to what each is sent."""

import textwrap
from collections.abc import Container, Iterable, Iterator, Mapping
from typing import Any

import msgspec

from leerie.config.problems import printable
from leerie.reasons import Sent
from leerie.report import steps

WIDTH = 80
ENDS = {"vacant": "until vacant", "day_part": "until the next day part", "ever": "for ever"}
"""Of a hold that no clock ends."""


def title(room: str, state: str, until: str | None, hold: str | None, bias: float, *, always: bool = False) -> str:
    """A room and its state. `hold`: what it lasts for, if there is one; `always`: a bias of 0 is told too."""
    end = f"until {until}" if until else ENDS.get(hold or "", "") if state == "hold" else ""
    wanted = f", bias {bias:+.2f}".replace("-", "−") if bias else ", no bias" if always else ""
    return f"{room}: {' '.join(filter(None, (state, end)))}{wanted}"


def page(
    title: str,
    because: Iterable[str],
    sent: Mapping[str, Sent],
    faults: Iterable[str] = (),
    *,
    switched: Container[str] = (),
    width: int = WIDTH,
) -> Iterator[str]:
    """Lines of at most `width` columns, unless a payload is longer: each sentence, below a lamp's what it is sent.

    `switched`: the lamps that know on and off only.
    """
    left = {lamp: steps.sent(found, switched=lamp in switched) for lamp, found in sent.items()}
    told = [("", title)]
    for sentence in because:
        told.append(("  ", sentence))
        lamp, named, _ = sentence.partition(": ")
        if named and lamp in left and "→" in sentence:
            told.append(("    ", left.pop(lamp)))
    told += (("  ", f"{lamp}: {found}") for lamp, found in left.items())
    told += (("  ", f"fault: {fault}") for fault in faults)
    for indent, text in told:
        yield from _wrapped(text, indent, width)


def answer(sky: bytes, room: bytes, sent: Mapping[str, Sent]) -> bytes:
    """For programs, as JSON. `sky` and `room`: as they are published."""
    commands = [{"topic": topic, "payload": payload} for found in sent.values() for topic, payload in found.messages]
    told: dict[str, Any] = {"sky": msgspec.Raw(sky), "room": msgspec.Raw(room), "commands": commands}
    return msgspec.json.encode(told)


def _wrapped(text: str, indent: str, width: int) -> list[str]:
    """Broken between words."""
    hanging = f"{indent}  "
    wrapper = textwrap.TextWrapper(width, indent, hanging, break_long_words=False, break_on_hyphens=False)
    return wrapper.wrap(printable(text))
