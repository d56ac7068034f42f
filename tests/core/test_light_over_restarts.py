"""A restart in the middle leads where none would have: light on its way, a lamp at rest, a blend half done."""

import pytest
from walker import Walker, house, instant

from leerie.now import MINUTE_MS

HOUSE = """
[daylight]
outdoor = { topic = "roof", expires = "1d" }
[day_parts.day]
starts = "08:00"
[day_parts.evening]
starts = "16:00"
blend = "45m"
[sensors.radar]
kind = "presence"
topic = "radar"
stuck = "7d"
[fixtures.bench]
kind = "tunable"
topic = "bench"
payload = { out = "$level", white = "$kelvin" }
[fixtures.shelf]
kind = "dimmable"
topic = "shelf"
payload = "$level"
[rooms.workshop]
sensors = ["radar"]
fixtures = ["bench", "shelf"]
confirm = "0s"
[rooms.workshop.scenes]
day = { bench = { follow = [0.2, 1.0], kelvin = 5000 }, shelf = { follow = [0.8, 0.0] } }
evening = { bench = { level = 0.3, kelvin = 2500 } }
"""


def stretch(start: str, restart_after: int | None) -> list[tuple[float, int | None, float]]:
    """What the lamps are at each minute of an hour in which the roof says bright all at once. Restarted, or not."""
    walker = Walker(house(HOUSE), now=instant(start), kept={"roof": "1000"})
    walker.say("radar", "on")
    walker.pass_("1m")
    walker.say("roof", "30000")
    seen = []
    for minute in range(60):
        if minute == restart_after:
            before = walker
            walker = Walker(
                before.building, before.memory, before.now, kept={"roof": "30000", "radar": "on"}, boot="one boot"
            )
        walker.pass_ms(MINUTE_MS)
        level, kelvin = walker.shown("bench")
        seen.append((level, kelvin, walker.level("shelf")))
    return seen


@pytest.mark.parametrize("start", ["2026-03-02T12:00:20+00:00", "2026-03-02T15:40:20+00:00"])
@pytest.mark.parametrize("minute", [2, 7, 19, 25, 33, 47])
def test_a_restart_leads_where_none_would_have(start: str, minute: int) -> None:
    """Within the minute that slow values may be old by, and a visible step."""
    undisturbed, restarted = stretch(start, None), stretch(start, minute)
    for (level, kelvin, shelf), (again, kelvin_again, shelf_again) in zip(undisturbed, restarted, strict=True):
        assert again == pytest.approx(level, abs=0.012)
        assert kelvin_again == pytest.approx(kelvin, rel=0.02)
        assert shelf_again == pytest.approx(shelf, abs=0.012)


def test_the_hour_has_all_of_it() -> None:
    """Light on its way, a rest at low-end trim, off, and a blend."""
    noon = stretch("2026-03-02T12:00:20+00:00", None)
    shelf = [row[2] for row in noon]
    assert shelf[0] > 0.4
    assert shelf[-1] == 0
    assert 9 <= sum(0 < level < 0.02 for level in shelf) <= 12, "ten minutes of rest"
    dusk = stretch("2026-03-02T15:40:20+00:00", None)
    assert dusk[0][1] == 5000
    assert dusk[-1][1] is not None
    assert 2500 < dusk[-1][1] < 3200
