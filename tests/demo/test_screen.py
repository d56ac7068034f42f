"""What the demo shows on terminals of any size: every room, its lamps and its reason, what happened, keys, cuts."""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from rich.cells import cell_len
from staged import HOUSE, PLAIN, canvas, lines, lit, printed, staged, state

from leerie import tint
from leerie.cli.demo import paint
from leerie.cli.demo.keys import KEYS
from leerie.cli.demo.stage import Stage
from leerie.config.building import Building

SIZES = [PLAIN, HOUSE, (110, 32), (200, 60), (72, 30)]
SMALL = [(40, 20), (30, 12), (80, 12), (20, 4), (10, 1), (1, 1), (2, 50), (300, 2)]


@pytest.fixture
def stage(example: Building) -> Stage:
    return staged(example)


@dataclass
class Many:
    """A building of so many rooms with the names of the alphabet's letters, drawn out."""

    count: int
    name_length: int = 12

    def of(self, example: Building) -> Building:
        names = [(chr(ord("a") + number) * self.name_length) for number in range(self.count)]
        workshop = example.rooms["workshop"]
        return replace(example, rooms={name: replace(workshop, name=name) for name in names})


@pytest.mark.parametrize("size", [*SIZES, *SMALL])
def test_no_more_columns_and_lines_than_there_are(stage: Stage, size: tuple[int, int]) -> None:
    drawn = lines(stage, size)
    assert len(drawn) == size[1]
    assert all(cell_len(line) == size[0] for line in drawn)


def _anything() -> st.SearchStrategy[str]:
    return st.text(max_size=120)


@given(width=st.integers(1, 220), height=st.integers(1, 70), name=_anything(), said=_anything(), fault=_anything())
def test_nothing_that_is_said_bursts_a_terminal(
    example: Building, width: int, height: int, name: str, said: str, fault: str
) -> None:
    stage = staged(replace(example, site=replace(example.site, name=name)))
    stage.tell(said)
    stage.page = said
    stage.rooms["shop"] = state(example, "shop", because=[said, fault], faults=[{"text": fault}])
    stage.chosen = "shop"
    drawn = lines(stage, (width, height))
    assert len(drawn) == height
    assert all(cell_len(line) == width for line in drawn)


@pytest.mark.parametrize("size", SIZES)
def test_every_room_is_seen_with_its_state_and_its_reason(stage: Stage, size: tuple[int, int]) -> None:
    drawn = "\n".join(lines(stage, size))
    for room in stage.building.rooms:
        assert f" {room} " in drawn
        assert f"{room} is " in drawn
    assert drawn.count("occupied") >= len(stage.building.rooms)


@pytest.mark.parametrize("count", [1, 2, 7, 20])
@pytest.mark.parametrize("size", [PLAIN, HOUSE, (40, 24), (210, 50)])
def test_any_number_of_rooms_is_shown(example: Building, count: int, size: tuple[int, int]) -> None:
    stage = staged(Many(count, 4).of(example))
    drawn = "\n".join(lines(stage, size))
    assert all(room in drawn for room in stage.building.rooms)


def test_long_names_are_cut_and_the_state_is_still_seen(example: Building) -> None:
    stage = staged(Many(8, 60).of(example))
    for size in (PLAIN, HOUSE, (40, 20)):
        assert "\n".join(lines(stage, size)).count("occupied") >= 8


def test_where_there_are_too_few_lines_the_chosen_room_is_among_those_shown(example: Building) -> None:
    stage = staged(Many(20, 4).of(example))
    for room in stage.building.rooms:
        stage.chosen = room
        assert any(f"▸{room}" in line for line in lines(stage, (60, 8)))


def test_the_head_tells_the_building_the_day_the_hour_and_the_sky(stage: Stage) -> None:
    for size in (PLAIN, HOUSE):
        head = "\n".join(lines(stage, size)[:3])
        told = ("Saltmarket violin workshop", "Mon 12 Jan 2026", "08:00", "-5.3°", "12.3 lx", "62%", "day part morning")
        assert all(part in head for part in told)


def test_the_hour_stands_even_where_nothing_else_does(stage: Stage) -> None:
    assert "08:00" in lines(stage, (10, 1))[0]


@pytest.mark.parametrize("size", SIZES)
def test_the_foot_tells_how_to_look_on_and_what_to_press(stage: Stage, size: tuple[int, int]) -> None:
    stage.page = "http://127.0.0.1:40123/"
    foot = "\n".join(lines(stage, size)[-4:])
    assert stage.invitation in foot
    assert size[0] < 75 or stage.page in foot
    assert all(f"{key.key} {key.does}" in foot for key in KEYS)


@pytest.mark.parametrize("size", [(30, 12), (40, 20), (16, 10), (50, 6)])
def test_how_to_end_it_always_stands_there(stage: Stage, size: tuple[int, int]) -> None:
    assert "q end" in lines(stage, size)[-1]


@pytest.mark.parametrize("size", [PLAIN, HOUSE])
def test_what_happened_last_is_told_with_its_time(stage: Stage, size: tuple[int, int]) -> None:
    stage.tell("hold on workshop")
    stage.tell("light asked for in shop")
    drawn = "\n".join(lines(stage, size))
    assert "08:00  light asked for in shop" in drawn
    assert "hold on workshop" not in drawn


@pytest.mark.parametrize("size", [PLAIN, HOUSE, (40, 20), (30, 12)])
def test_a_cut_broker_and_a_killed_leerie_are_seen_at_once(stage: Stage, size: tuple[int, int]) -> None:
    stage.broker_up = False
    assert any("broker cut" in line for line in lines(stage, size)[:3])
    stage.broker_up, stage.daemon_up = True, False
    assert any("leerie is down" in line for line in lines(stage, size)[:3])
    stage.daemon_up = True
    assert not any("■" in line for line in lines(stage, size))


@pytest.mark.parametrize("size", [PLAIN, HOUSE])
def test_a_sky_clouded_over_looks_so_and_says_so(stage: Stage, size: tuple[int, int]) -> None:
    before = canvas(stage, size).ground(0, 2)
    stage.overcast = True
    after = canvas(stage, size).ground(0, 2)
    assert before is not None
    assert after is not None
    assert max(after) - min(after) < max(before) - min(before)
    assert "clouded over" in lines(stage, size)[2]


@pytest.mark.parametrize("size", [PLAIN, HOUSE, (30, 12)])
def test_before_anything_is_heard_the_rooms_stand_there_already(stage: Stage, size: tuple[int, int]) -> None:
    stage.rooms.clear()
    stage.sky = {}
    assert "\n".join(lines(stage, size)).count("not hea") >= len(stage.building.rooms)


@pytest.mark.parametrize("size", [PLAIN, HOUSE, (40, 20)])
def test_a_state_that_ends_says_when(stage: Stage, size: tuple[int, int]) -> None:
    """In the building's own time: 09:51 of an offset of one hour is 08:51 in Glasgow in winter."""
    stage.rooms["kitchen"] = state(stage.building, "kitchen", state="grace", until="2026-01-12T09:51:07+01:00")
    assert any("grace → 08:51" in line for line in lines(stage, size))


@pytest.mark.parametrize(("ends", "told"), [("vacant", "→ vacant"), ("day_part", "→ next part"), ("ever", "→ ended")])
@pytest.mark.parametrize("size", [PLAIN, HOUSE])
def test_a_hold_says_what_ends_it(stage: Stage, size: tuple[int, int], ends: str, told: str) -> None:
    because = [
        "occupied: kitchen_radar present since 07:30",
        "day part morning since 06:30",
        "held by hand since 07:40",
    ]
    stage.rooms["kitchen"] = state(stage.building, "kitchen", state="hold", hold={"for": ends}, because=because)
    drawn = "\n".join(lines(stage, size))
    assert f"hold {told}" in drawn
    assert "held by hand" in drawn


@pytest.mark.parametrize("size", [PLAIN, HOUSE, (40, 20)])
def test_in_a_hands_off_hold_lamps_show_what_they_burn(stage: Stage, size: tuple[int, int]) -> None:
    """Somebody set the counter to a quarter of its light, which looks half as bright."""
    stage.rooms["kitchen"] = state(stage.building, "kitchen", state="hold", fixtures=None)
    stage.rooms.pop("bedroom")
    lit(stage, "kitchen_counter", 0.5)
    drawn = "\n".join(lines(stage, size))
    assert "hands off" in drawn
    assert "0.50" in drawn
    lit(stage, "kitchen_counter", 0.0)
    assert drawn != "\n".join(lines(stage, size))


@pytest.mark.parametrize("size", [PLAIN, HOUSE])
def test_a_fault_comes_before_the_reasons_on_red(stage: Stage, size: tuple[int, int]) -> None:
    fault = {"text": "workshop_pir silent"}
    stage.rooms["workshop"] = state(stage.building, "workshop", faults=[fault])
    drawn = canvas(stage, size)
    on_red = ["".join(cell.text for cell in line if cell.ground == paint.FAULT) for line in drawn.lines]
    assert " ".join(filter(None, on_red)) == "workshop_pir silent"


@pytest.mark.parametrize("size", [PLAIN, HOUSE])
def test_a_lamp_that_was_never_told_anything_claims_no_level(stage: Stage, size: tuple[int, int]) -> None:
    stage.rooms = {"porch": state(stage.building, "porch", fixtures={"porch_lantern": None})}
    drawn = "\n".join(lines(stage, size))
    assert "0.50" not in drawn
    assert "on" not in drawn.partition("lantern")[2].partition("\n")[0]


@pytest.mark.parametrize("size", [PLAIN, (40, 20), HOUSE])
def test_people_are_shown_where_they_are(stage: Stage, size: tuple[int, int]) -> None:
    people = {room: stage.people_in(room) for room in stage.building.rooms}
    assert sum(people.values()) >= 1
    assert "".join(lines(stage, size)).count("▲") == sum(people.values())


@pytest.mark.parametrize(("size", "block"), [(PLAIN, "██"), (HOUSE, "▜██▛")])
def test_a_lamp_is_drawn_in_its_own_light(stage: Stage, size: tuple[int, int], block: str) -> None:
    """Warm white has more red than blue, and half the level is darker than the whole."""
    shades = []
    for level in (1.0, 0.5):
        lit(stage, "kitchen_ceiling", level)
        inks = {cell.ink for line in canvas(stage, size).lines for cell in line if cell.text and cell.text in block}
        (ink,) = [ink for ink in inks if ink is not None and ink[0] > ink[1] > ink[2] and ink != (58, 56, 66)]
        shades.append(ink[0])
    assert shades[0] > shades[1]


@pytest.mark.parametrize("size", [PLAIN, HOUSE])
@pytest.mark.parametrize("system", [None, "standard", "256", "truecolor"])
def test_every_kind_of_terminal_can_be_read(stage: Stage, size: tuple[int, int], system: str | None) -> None:
    drawn = printed(stage, size, system)
    assert ("\x1b[" in drawn) == (system is not None)
    assert ("48;2;" in drawn) == (system == "truecolor")
    assert ("48;5;" in drawn) == (system == "256")
    if system is None:
        assert all(cell_len(line) == size[0] for line in drawn.split("\n"))
        assert all(room in drawn for room in stage.building.rooms)


@given(
    level=st.floats(0, 1),
    kelvin=st.integers(2000, 6500),
    hour=st.sampled_from([0, 8, 12, 16, 20]),
    size=st.sampled_from([PLAIN, HOUSE, (110, 32), (40, 20)]),
    overcast=st.booleans(),
)
def test_no_text_is_ever_unreadable(
    example: Building, level: float, kelvin: int, hour: int, size: tuple[int, int], overcast: bool
) -> None:
    """4.5:1, as WCAG 2.2 has it, whatever burns and whatever the sky is like. From memory."""
    stage = staged(example, hour * 3600)
    stage.overcast = overcast
    for name, fixture in example.fixtures.items():
        lit(stage, name, level, kelvin if fixture.kelvin else None)
    for line in canvas(stage, size).lines:
        for cell in line:
            if cell.text.isalnum() and cell.ink is not None and cell.ground is not None:
                assert tint.contrast(cell.ink, cell.ground) >= 4.5, cell


def test_the_same_stage_is_drawn_the_same(stage: Stage) -> None:
    for size in (PLAIN, HOUSE):
        assert canvas(stage, size).lines == canvas(stage, size).lines
