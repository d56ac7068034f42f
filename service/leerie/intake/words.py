"""Does a value say a word? The config's `present`, `absent` and their like, made ready once."""

import msgspec

from leerie.config.building import Match
from leerie.intake.payloads import Scalar, number, word
from leerie.intake.refusal import Refusal, quoted

_BOUNDS = (("at_least", "at least"), ("above", "above"), ("at_most", "at most"), ("below", "below"))


class Words(msgspec.Struct, frozen=True):
    """Says yes to some words and to numbers within bounds."""

    words: frozenset[str]
    match: Match
    bounded: bool
    allowed: str
    """What a person may be told: the words, then the bounds."""

    @classmethod
    def of(cls, match: Match) -> "Words":
        bounds = [f"{words} {bound:g}" for key, words in _BOUNDS if (bound := getattr(match, key)) is not None]
        allowed = ", ".join((*match.words, *bounds)) or "nothing"
        return cls(frozenset(map(word, match.words)), match, bool(bounds), allowed)

    def fit(self, value: Scalar, said: str) -> bool:
        """Whether the value, which as a word is `said`, is one of these words or within these bounds."""
        return said in self.words or (self.bounded and self._within(number(value)))

    def _within(self, found: float | None) -> bool:
        match = self.match
        return (
            found is not None
            and (match.at_least is None or found >= match.at_least)
            and (match.above is None or found > match.above)
            and (match.at_most is None or found <= match.at_most)
            and (match.below is None or found < match.below)
        )


class Choice(msgspec.Struct, frozen=True):
    """One of two words, the first of which wins where both fit."""

    yes: Words
    no: Words
    names: tuple[str, str]

    @classmethod
    def of(cls, yes: Match, no: Match, names: tuple[str, str]) -> "Choice":
        return cls(Words.of(yes), Words.of(no), names)

    def made(self, value: Scalar) -> bool:
        """Whether the value says yes. Raises Refusal if it says neither."""
        if value is not None:
            said = word(value)
            if self.yes.fit(value, said):
                return True
            if self.no.fit(value, said):
                return False
        yes, no = self.names
        raise Refusal(
            "no_value" if value is None else "unknown_word",
            f"{quoted(value)} says neither {yes} ({self.yes.allowed}) nor {no} ({self.no.allowed})",
        )
