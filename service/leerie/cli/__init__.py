"""The command line: a module a command, each thin: arguments in, the library called, words out."""


class StopError(Exception):
    """A command cannot go on; `main` tells why and leaves with the code."""

    def __init__(self, text: str, code: int = 1) -> None:
        """`text`: one problem a line; `code`: 1, or 2 for wrong usage."""
        super().__init__(text)
        self.code = code


ANSWER_S = 3.0
"""How long a running leerie may take to answer."""


def no_answer(room: str, *, running: bool, known: bool) -> str:
    """Why nobody speaks for the room. `running`: leerie says that it is; `known`: it has spoken of the room before."""
    if running and not known:
        return f"leerie runs, but does not know the room {room}: has it been restarted since the config changed?"
    return f"{room}: no leerie answers within {ANSWER_S:.0f} s; is `leerie run` running on this broker?"
