"""The client id: kept while it can be, and given up in a fight."""

import pytest

from leerie.runtime.client_id import FIGHT_S, ClientId

SOON_S = FIGHT_S / 2


def test_thrown_off_three_times_in_a_row_it_becomes_another() -> None:
    client_id = ClientId("leerie")
    assert [client_id.lost(True, SOON_S) for _ in range(2)] == ["", ""]
    assert client_id.value == "leerie"
    said = client_id.lost(True, SOON_S)
    assert client_id.value.startswith("leerie-")
    assert said.startswith(", for the third time so soon: is another client called leerie, too? ")
    assert f"this one is {client_id.value};" in said


@pytest.mark.parametrize(("thrown_off", "lasted_s"), [(False, SOON_S), (True, FIGHT_S)])
def test_what_ends_otherwise_or_late_is_no_fight(thrown_off: bool, lasted_s: float) -> None:
    """A broker that restarts, a road that breaks, somebody who looks in once an hour."""
    client_id = ClientId("leerie")
    for _ in range(5):
        client_id.lost(True, SOON_S)
        client_id.lost(True, SOON_S)
        client_id.lost(thrown_off, lasted_s)
    assert client_id.value == "leerie"


def test_two_that_give_in_at_the_same_time_do_not_meet_again() -> None:
    ids = [ClientId("leerie") for _ in range(2)]
    for client_id in ids:
        for _ in range(3):
            client_id.lost(True, SOON_S)
    assert ids[0].value != ids[1].value
