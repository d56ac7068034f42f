"""What a room's own light sensor says."""

import pytest

from leerie.intake.feeds import meter
from leerie.intake.inputs import Metered
from leerie.intake.refusal import Refusal
from leerie.messages import Message


def test_a_reading_is_a_value_of_its_room() -> None:
    read = meter("workshop", ("lx",))
    assert read(Message("m", b'{"lx": 480.5}')) == Metered("workshop", 480.5)
    assert read(Message("m", b'{"lx": "0"}', retained=True)) == Metered("workshop", 0)


@pytest.mark.parametrize("payload", [b'{"lx": -1}', b'{"lx": true}', b'{"lx": null}', b'{"lux": 3}', b"dim", b""])
def test_what_is_no_illuminance_is_refused(payload: bytes) -> None:
    with pytest.raises(Refusal):
        meter("workshop", ("lx",))(Message("m", payload))
