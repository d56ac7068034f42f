"""Choices read off bytes: a fuzzer that changes bytes changes choices."""

from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")
MOST_EDITS = 24
MOST_TIMES = 4_000
MOST_BYTES = 70_000
"""A little more than is read of any message: beyond it there is only waiting."""


class Draw:
    """Where the bytes are used up, every choice is the first."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    @property
    def more(self) -> bool:
        return self._at < len(self._data)

    def number(self, most: int) -> int:
        """A whole number from 0 to `most`."""
        size = (most.bit_length() + 7) // 8
        taken = self._data[self._at : self._at + size]
        self._at += size
        return int.from_bytes(taken) % (most + 1)

    def of(self, options: Sequence[T]) -> T:
        return options[self.number(len(options) - 1)]

    def rest(self) -> bytes:
        rest = self._data[self._at :]
        self._at = len(self._data)
        return rest

    def bytes_like(self, seeds: Sequence[bytes], words: Sequence[bytes]) -> bytes:
        """The rest as it is; or one of the seeds, edited."""
        if self.number(3) == 3:
            return self.rest()
        text = self.of(seeds)
        for _ in range(self.number(MOST_EDITS)):
            if not self.more:
                break
            text = self._edited(text, words)[:MOST_BYTES]
        return text

    def _edited(self, text: bytes, words: Sequence[bytes]) -> bytes:
        begin = self.number(len(text))
        end = min(len(text), begin + self.number(15))
        match self.number(5):
            case 0:
                new = self.of(words)
            case 1:
                new, end = self.of(words), begin
            case 2:
                new = b""
            case 3:
                new = bytes([self.number(255)])
            case 4:
                new = text[begin:end] * (1 + self.number(7))
            case _:
                new = self.of(words) * (1 + self.number(MOST_TIMES))
        return text[:begin] + new + text[end:]
