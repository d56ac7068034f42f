"""The command line: a module a command, each thin: arguments in, the library called, words out."""


class StopError(Exception):
    """A command cannot go on; `main` tells why and leaves with the code."""

    def __init__(self, text: str, code: int = 1) -> None:
        """`text`: one problem a line; `code`: 1, or 2 for wrong usage."""
        super().__init__(text)
        self.code = code
