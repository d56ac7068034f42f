"""The plan of the house: each room once, none over another, stairs through all storeys; none where it does not fit."""

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from leerie.cli.demo import plan
from leerie.cli.demo.canvas import Box
from leerie.cli.demo.plan import Storeys
from leerie.config.building import Building


def _names(prefix: str, most: int, least: int = 0) -> st.SearchStrategy[tuple[str, ...]]:
    return st.integers(least, most).map(lambda count: tuple(f"{prefix}{number}" for number in range(count)))


HOUSES = st.builds(
    Storeys,
    st.one_of(st.tuples(_names("up", 8, 1), _names("down", 8, 1)), st.tuples(_names("down", 20, 1))),
    _names("stairs", 3),
    _names("yard", 3),
)


@given(HOUSES, st.integers(1, 400), st.integers(1, 90))
def test_rooms_lie_beside_each_other_inside_the_terminal(rooms: Storeys, width: int, height: int) -> None:
    laid = plan.fit(rooms, width, height)
    if laid is None:
        return
    everything = [*(name for level in rooms.levels for name in level), *rooms.stairs, *rooms.outside]
    assert sorted(laid.rooms) == sorted(everything)
    for box in laid.rooms.values():
        assert box.width >= plan.NARROWEST - 2
        assert box.height >= plan.FLATTEST
        assert box.left >= 1
        assert box.right < width
        assert box.top > plan.SKY + plan.ROOF
        assert box.bottom <= height - 1 - plan.STREET
    assert not any(_overlap(one, other) for one, other in combinations(laid.rooms.values(), 2))


@given(HOUSES)
def test_where_there_is_more_space_it_still_fits(rooms: Storeys) -> None:
    columns = max(map(len, rooms.levels)) + len(rooms.stairs)
    width = (columns + len(rooms.outside)) * (plan.NARROWEST + 1) + 1 + 2 * plan.MARGIN
    height = plan.SKY + plan.ROOF + plan.STREET + 1 + len(rooms.levels) * (plan.FLATTEST + 1)
    assert plan.fit(rooms, width, height) is not None
    assert plan.fit(rooms, width + 100, height + 40) is not None
    assert plan.fit(rooms, width, height - 1) is None


def test_the_workshop_is_below_the_flat_the_stairs_through_both_and_the_porch_outside(example: Building) -> None:
    laid = plan.fit(plan.storeys(example), 120, 30)
    assert laid is not None
    rooms = laid.rooms
    assert rooms["kitchen"].bottom < rooms["workshop"].top
    assert rooms["stairs"].top == rooms["kitchen"].top
    assert rooms["stairs"].bottom == rooms["workshop"].bottom
    assert rooms["porch"].left >= laid.house.right
    assert rooms["porch"].bottom == rooms["workshop"].bottom


def test_a_building_without_sensors_lies_inside_all_the_same(example: Building) -> None:
    rooms = {name: replace(room, sensors=()) for name, room in example.rooms.items()}
    assert plan.storeys(replace(example, rooms=rooms)).outside == ()


def test_a_building_of_stairs_alone_has_rooms(example: Building) -> None:
    stairs = {"stairs": example.rooms["stairs"]}
    assert plan.storeys(replace(example, rooms=stairs)) == Storeys((("stairs",),), (), ())


def _overlap(one: Box, other: Box) -> bool:
    beside = one.right <= other.left or other.right <= one.left
    above = one.bottom <= other.top or other.bottom <= one.top
    return not beside and not above
