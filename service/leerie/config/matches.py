"""What a sensor's payload must say to mean present or absent, where the config says so and where it does not."""

from leerie.config.building import Match
from leerie.config.devices import Bounds

PRESENT = ("true", "1", "on", "yes", "present", "occupied", "motion", "detected")
ABSENT = ("false", "0", "off", "no", "absent", "vacant", "unoccupied", "clear", "none")
OPEN = ("open",)
CLOSED = ("closed",)


def pair(kind: str, present: list[str] | Bounds | None, absent: list[str] | Bounds | None) -> tuple[Match, Match]:
    """Present and absent, or a door's open and closed.

    A word that the config gives to one side is no default of the other. Where one side is given as numbers and the
    other not at all, every other number means the other: a radar's `present = { above = 0.2 }` is absent at 0.2.
    """
    usual = (OPEN, CLOSED) if kind == "door" else (PRESENT, ABSENT)
    return _side(present, usual[0], absent), _side(absent, usual[1], present)


def _side(given: list[str] | Bounds | None, usual: tuple[str, ...], other: list[str] | Bounds | None) -> Match:
    if isinstance(given, Bounds):
        return Match((), given.at_least, given.above, given.at_most, given.below)
    if given is not None:
        return Match(tuple(dict.fromkeys(given)))
    if not isinstance(other, Bounds):
        return Match(tuple(word for word in usual if word not in (other or ())))
    words = tuple(word for word in usual if not _number(word))
    if sum(bound is not None for bound in (other.at_least, other.above, other.at_most, other.below)) != 1:
        return Match(words)
    return Match(words, at_least=other.below, above=other.at_most, at_most=other.above, below=other.at_least)


def _number(word: str) -> bool:
    return word.isdigit()


def empty(match: Match) -> bool:
    """Whether no number can satisfy the bounds: they are upside down."""
    return _disjoint(match, match)


def overlap(one: Match, other: Match) -> str | None:
    """What would mean both, in words; None if nothing would."""
    shared = [word for word in one.words if word in other.words]
    if shared:
        return shared[0]
    if _bounded(one) and _bounded(other):
        return None if _disjoint(one, other) else "a number"
    words, bounds = (one, other) if _bounded(other) else (other, one)
    return next((word for word in words.words if _bounded(bounds) and _within(word, bounds)), None)


def _bounded(match: Match) -> bool:
    return any(bound is not None for bound in (match.at_least, match.above, match.at_most, match.below))


def _within(word: str, match: Match) -> bool:
    try:
        number = float(word)
    except ValueError:
        return False
    return not _disjoint(match, Match((), at_least=number, at_most=number))


def _disjoint(one: Match, other: Match) -> bool:
    """Whether no number lies within both."""
    lows = [
        (bound, strict)
        for match in (one, other)
        for bound, strict in ((match.at_least, 0), (match.above, 1))
        if bound is not None
    ]
    highs = [
        (bound, strict)
        for match in (one, other)
        for bound, strict in ((match.at_most, 0), (match.below, 1))
        if bound is not None
    ]
    if not lows or not highs:
        return False
    (low, above), (high, below) = max(lows), min(highs, key=lambda end: (end[0], -end[1]))
    return low > high or (low == high and bool(above or below))
