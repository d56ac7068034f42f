"""Under which client id we connect, and what becomes of it when somebody else has it, too."""

import secrets

FIGHT_S = 60.0
"""Who is thrown off sooner than this, again and again, is in a fight over the client id."""
ROUNDS = 3
"""So often we are thrown off before we give in and take another."""


class ClientId:
    """The config's, until somebody fights for it."""

    def __init__(self, wished: str) -> None:
        self.value = wished
        self._wished = wished
        self._rounds = 0

    def lost(self, thrown_off: bool, lasted_s: float) -> str:
        """A connection is over that lasted so long; returns what there is to add to why.

        Most brokers do not tell why they close one. If it was for another reason, another client id does no harm; and
        whoever may log in, with whatever rights, could keep us away for good under one that is known.
        """
        self._rounds = self._rounds + 1 if thrown_off and lasted_s < FIGHT_S else 0
        if self._rounds != ROUNDS:
            return ""
        before, self.value = self.value, f"{self._wished}-{secrets.token_hex(4)}"
        return (
            f", for the third time so soon: is another client called {before}, too? "
            f"From here on this one is {self.value}; give each its own broker.client_id"
        )
