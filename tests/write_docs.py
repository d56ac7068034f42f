"""Writes what the documents copy from the code: `.venv/bin/python tests/write_docs.py`; test_docs.py checks it."""

import re
from pathlib import Path

from leerie.occupancy import table

DEVELOPERS = Path(__file__).parent.parent / "DEVELOPERS.md"
BLOCK = re.compile(r"(?<=<!-- table: occupancy -->\n).*?(?=<!-- end -->)", re.DOTALL)


def with_tables(text: str) -> str:
    """The text with its marked block as the code has it."""
    written, count = BLOCK.subn(lambda _: f"\n{table.markdown().strip()}\n\n", text)
    if count != 1:
        raise ValueError(
            f"{count} blocks are marked with <!-- table: occupancy --> and <!-- end -->; there must be one"
        )
    return written


if __name__ == "__main__":
    DEVELOPERS.write_text(with_tables(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
