"""The house cut open: which terminals it fits, each room in its own light, the chosen one with all its reasons."""

import pytest
from staged import HOUSE, PLAIN, canvas, lines, lit, staged, state

from leerie.cli.demo import plan
from leerie.cli.demo.stage import Stage
from leerie.config.building import Building

CHAIN = [
    "occupied: bench_radar present since 07:56",
    "day part working since 08:30",
    "sun 12.3° above the horizon, 14800 lx under a clear sky; cloud 0.16 (told) leaves 100 %: 14700 lx",
    "bench: maintains 300 lx, less 93.8 lx of daylight → level 0.78 (61 % of its light), 4000 K",
    "spot: maintains 300 lx, less 93.8 lx of daylight → level 0.78 (61 % of its light)",
]


@pytest.fixture
def stage(example: Building) -> Stage:
    return staged(example)


def _is_cut_open(stage: Stage, size: tuple[int, int]) -> bool:
    return "▜" in "".join(lines(stage, size)) or "▔" in "".join(lines(stage, size))


@pytest.mark.parametrize("size", [(110, 32), HOUSE, (160, 48), (250, 80)])
def test_a_wide_terminal_shows_the_house(stage: Stage, size: tuple[int, int]) -> None:
    assert _is_cut_open(stage, size)


@pytest.mark.parametrize("size", [PLAIN, (90, 40), (160, 24), (40, 60)])
def test_where_it_does_not_fit_there_are_rows(stage: Stage, size: tuple[int, int]) -> None:
    assert not _is_cut_open(stage, size)


def test_the_flat_is_above_the_workshop(stage: Stage) -> None:
    drawn = lines(stage, HOUSE)
    where = {
        room: next(y for y, line in enumerate(drawn) if y > 5 and f" {room} " in line) for room in stage.building.rooms
    }
    assert where["kitchen"] == where["bedroom"] == where["bathroom"]
    assert where["workshop"] == where["varnish_room"] == where["shop"] == where["porch"]
    assert where["kitchen"] < where["workshop"]


def test_each_room_is_in_the_light_of_its_own_lamps(stage: Stage) -> None:
    lit(stage, "kitchen_ceiling", 1.0)
    lit(stage, "kitchen_counter", 1.0)
    house = plan.fit(plan.storeys(stage.building), HOUSE[0], HOUSE[1] - 11)
    assert house is not None
    drawn = canvas(stage, HOUSE)
    kitchen, bedroom = (
        drawn.ground(house.rooms[room].left, house.rooms[room].top + 1) for room in ("kitchen", "bedroom")
    )
    assert kitchen is not None
    assert bedroom is not None
    assert kitchen[0] > kitchen[1] > kitchen[2]
    assert bedroom[2] > bedroom[0]
    assert sum(kitchen) > 2 * sum(bedroom)


def test_the_chosen_room_is_marked_and_all_its_reasons_stand_below(stage: Stage) -> None:
    stage.rooms["shop"] = state(stage.building, "shop", because=CHAIN, faults=[{"text": "shop_pir silent for 26 h"}])
    stage.chosen = "shop"
    drawn = lines(stage, HOUSE)
    assert any("▸ shop" in line for line in drawn)
    assert sum("┏" in line for line in drawn) == 1
    top = max(y for y, line in enumerate(drawn) if "▸ shop" in line)
    below = " ".join(" ".join(drawn[top:]).split())
    assert (
        "▸ shop occupied bench_radar present since 07:56 · day part working since 08:30 shop_pir silent for 26 h"
        in below
    )
    assert all(reason in below for reason in CHAIN[2:])


def test_reasons_that_do_not_fit_are_counted(stage: Stage) -> None:
    stage.rooms["workshop"] = state(stage.building, "workshop", because=[f"reason {number}" for number in range(30)])
    assert any("lines more" in line for line in lines(stage, HOUSE))


def test_rows_show_the_reasons_of_the_chosen_room_where_there_is_space(stage: Stage) -> None:
    stage.rooms["workshop"] = state(stage.building, "workshop", because=CHAIN)
    assert not any(CHAIN[3][:30] in line for line in lines(stage, (100, 24)))
    assert any(CHAIN[3] in line for line in lines(stage, (100, 40)))


def test_more_lamps_than_there_is_place_for_stand_close_together(stage: Stage) -> None:
    """At the narrowest the shop's three lamps have no columns of their own; each is a block all the same."""
    lit(stage, "shop_track", 1.0)
    lit(stage, "window", 1.0)
    lit(stage, "sign", 1.0)
    drawn = lines(stage, (110, 32))
    assert any("▜▛ ▜▛ ▜▛" in line for line in drawn)


def test_the_sun_is_above_the_roof_by_day_and_stars_by_night(example: Building) -> None:
    noon, night = staged(example, 12 * 3600), staged(example, 23 * 3600)
    night.sky = noon.sky = {**noon.sky, "cloud": 0.0}
    sky = [line[:] for line in lines(noon, HOUSE)[:5]]
    assert any("●" in line for line in sky)
    assert not any("●" in line for line in lines(night, HOUSE)[:5])
    assert any("·" in line for line in lines(night, HOUSE)[:5])
    assert not any("·" in line for line in sky)


def test_the_strip_of_the_day_says_where_in_it_we_are(stage: Stage) -> None:
    """A third of the day is over at eight; day is brighter than night."""
    strip = canvas(stage, HOUSE).lines[0]
    (now,) = [x for x, cell in enumerate(strip) if cell.text == "█"]
    assert now == HOUSE[0] // 3
    midnight, noon = strip[0].ground, strip[HOUSE[0] // 2].ground
    assert midnight is not None
    assert noon is not None
    assert sum(noon) > 4 * sum(midnight)
