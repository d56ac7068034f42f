"""Every cell of the two tables, seen from outside: what a room in that state does on that event."""

from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from play import Play, building, lamp, room, sensor

from leerie.notes import HoldEnded, NotHeld
from leerie.occupancy.table import (
    HOLD,
    OCCUPANCY,
    Event,
    HoldEvent,
    HoldState,
    IllegalMoveError,
    State,
    move,
    move_hold,
)

ONLINE = {"present": ["up"], "absent": ["lost"]}
SCENES = {
    "day": {"bench": 0.8},
    "evening": {"bench": 0.4},
    "vacant": {"glow": 0.1},
    "asked": {"bench": 0.2},
}
FULL, EVENING, WARNED = {"bench": [0.8], "glow": [0.0]}, {"bench": [0.4], "glow": [0.0]}, {"bench": [0.4]}
VACANT = {"bench": [0.0], "glow": [0.1]}
DARK = {"bench": [0.0], "glow": [0.0]}
NOTHING: dict[str, list[float]] = {}


def workshop(at: str = "09:00", **keys: Any) -> Play:
    """A room with a presence sensor, a motion sensor and a presence sensor that only keeps, vacant and forgotten."""
    plain = {
        "sensors": ["radar", "pir"],
        "keep": ["desk"],
        "confirm": "10s",
        "pass_through": "2m",
        "grace": "10m",
        "warn": {"before": "30s", "level": 0.5},
        "relight": "60s",
        "hold_for": "1h",
    }
    house = building(
        sensor("radar", stuck="2h", online={"topic": "radar_up", **ONLINE}),
        sensor("pir", "motion", clears="20s", stuck="2h", online={"topic": "pir_up", **ONLINE}),
        sensor("desk", stuck="2h", online={"topic": "desk_up", **ONLINE}),
        lamp("bench"),
        lamp("glow"),
        room("workshop", SCENES, {"evening": {"vacant": {"glow": 0.3}}}, **{**plain, **keys}),
    )
    play = Play(house, f"2026-03-02T{at}")
    play.pass_("1h")
    return play


# ---- how a room comes into each state --------------------------------------------------------------------------------


def vacant(_play: Play) -> None:
    pass


def arriving(play: Play) -> None:
    play.say("radar", True)
    play.pass_("3s")


def occupied(play: Play) -> None:
    play.say("radar", True)
    play.pass_("1m")


def after_arriving(play: Play) -> None:
    play.say("radar", True)
    play.pass_("3s")
    play.say("radar", False)


def after_occupied(play: Play) -> None:
    play.say("radar", True)
    play.pass_("1m")
    play.say("radar", False)


COLUMNS: dict[str, Callable[[Play], None]] = {
    "vacant": vacant,
    "arriving": arriving,
    "occupied": occupied,
    "grace after arriving": after_arriving,
    "grace after occupied": after_occupied,
}

# ---- what happens ----------------------------------------------------------------------------------------------------


def says(topic: str, payload: object) -> Callable[[Play], None]:
    return lambda play: play.say(topic, payload)


def passes(duration: str) -> Callable[[Play], None]:
    return lambda play: play.pass_(duration)


def asks(what: str) -> Callable[[Play], None]:
    return lambda play: play.ask(what)


def goes_out(play: Play) -> None:
    """All sensors are lost, the one that sees somebody last."""
    for name in ("desk", "pir", "radar"):
        play.say(f"{name}_up", "lost")


def restarts(play: Play) -> None:
    play.restart(after="1s")


def reloads(play: Play) -> None:
    """The same room with longer graces."""
    longer = workshop(pass_through="3m", grace="15m")
    play.restart(longer.building)


def evening(play: Play) -> None:
    play.until("18:00")


def then(*steps: Callable[[Play], None]) -> Callable[[Play], None]:
    """One after the other; what the lamps are told before the last does not count."""

    def happen(play: Play) -> None:
        for step in steps[:-1]:
            step(play)
        play.heard()
        steps[-1](play)

    return happen


class Cell(NamedTuple):
    """In a column, on a row's event: the state, the seconds until it ends by itself, and what the lamps were told."""

    row: str
    column: str
    does: Callable[[Play], None]
    state: str
    left: float | None
    told: dict[str, list[float]]
    case: str = ""
    room: dict[str, Any] = {}  # noqa: RUF012 - nobody changes it

    def __str__(self) -> str:
        return f"{self.row}-{self.column}{' ' if self.case else ''}{self.case}"


V, A, O, P, G = COLUMNS  # noqa: E741 - the columns' initials
EVIDENCE, KEEP, CONFIRM, ENDS = "evidence", "keep only", "confirm passes", "last ends"
WARN, UP, LIGHT, ASK_DARK = "warn.before the end", "time is up", "ask light", "ask dark"
BLIND_ON, BLIND_OFF, BLIND_LAST = "all out on", "all out off", "all out last"
STUCK, PART, AGAIN, FRESH = "stuck", "day part begins", "reload, restart", "start without memory"
ROWS = (
    EVIDENCE, KEEP, CONFIRM, ENDS, WARN, UP, LIGHT, ASK_DARK, BLIND_ON, BLIND_OFF, BLIND_LAST, STUCK, PART, AGAIN,
)  # fmt: skip
ON, OFF, LAST = ({"if_blind": mode} for mode in ("on", "off", "last"))
SAYS_ABSENT, SEES, DESK_SEES = says("radar", False), says("radar", True), says("desk", True)

CELLS = (
    Cell(EVIDENCE, V, SEES, "arriving", 10, FULL),
    Cell(EVIDENCE, V, SEES, "occupied", None, FULL, "with confirm 0", {"confirm": "0s"}),
    Cell(EVIDENCE, V, then(after_occupied, passes("10m50s"), SEES), "occupied", None, FULL, "within relight"),
    Cell(
        EVIDENCE, V, then(asks("dark"), passes("10m30s"), SEES), "occupied", None, {"glow": [0.0]},
        "within relight what was asked comes back",
    ),
    Cell(EVIDENCE, V, then(after_occupied, passes("11m1s"), SEES), "arriving", 10, FULL, "after relight"),
    Cell(EVIDENCE, A, SEES, "arriving", 7, NOTHING, "before confirm"),
    Cell(
        EVIDENCE, A, then(SAYS_ABSENT, says("pir", "on"), passes("8s"), says("pir", "on")), "occupied", None, NOTHING,
        "at least confirm after the first",
    ),
    Cell(EVIDENCE, O, SEES, "occupied", None, NOTHING),
    Cell(EVIDENCE, P, SEES, "arriving", 7, NOTHING, "before confirm"),
    Cell(EVIDENCE, P, then(passes("7s"), SEES), "occupied", None, NOTHING, "after confirm"),
    Cell(EVIDENCE, G, SEES, "occupied", None, NOTHING),
    Cell(EVIDENCE, G, then(passes("9m40s"), SEES), "occupied", None, {"bench": [0.8]}, "warned"),
    Cell(KEEP, V, DESK_SEES, "vacant", None, NOTHING),
    Cell(KEEP, A, DESK_SEES, "arriving", 7, NOTHING),
    Cell(KEEP, O, DESK_SEES, "occupied", None, NOTHING),
    Cell(KEEP, P, DESK_SEES, "occupied", None, NOTHING),
    Cell(KEEP, G, DESK_SEES, "occupied", None, NOTHING),
    Cell(KEEP, G, then(passes("9m40s"), DESK_SEES), "occupied", None, {"bench": [0.8]}, "warned"),
    Cell(CONFIRM, V, then(DESK_SEES, passes("11s")), "vacant", None, NOTHING, "cannot be"),
    Cell(CONFIRM, A, passes("6.999s"), "arriving", 0.001, NOTHING, "not yet"),
    Cell(CONFIRM, A, passes("7s"), "occupied", None, NOTHING),
    Cell(
        CONFIRM, A, then(SAYS_ABSENT, says("pir", "on"), passes("19s")), "arriving", None, NOTHING,
        "and only a motion sensor is present",
    ),
    Cell(CONFIRM, O, passes("10s"), "occupied", None, NOTHING, "cannot be"),
    Cell(CONFIRM, P, passes("10s"), "grace", 110, NOTHING, "cannot be"),
    Cell(CONFIRM, G, passes("10s"), "grace", 590, NOTHING, "cannot be"),
    Cell(ENDS, V, then(DESK_SEES, says("desk", False)), "vacant", None, NOTHING, "cannot be"),
    Cell(ENDS, A, SAYS_ABSENT, "grace", 120, NOTHING),
    Cell(ENDS, A, then(DESK_SEES, SAYS_ABSENT), "arriving", 7, NOTHING, "and another keeps"),
    Cell(ENDS, O, SAYS_ABSENT, "grace", 600, NOTHING),
    Cell(ENDS, O, then(DESK_SEES, SAYS_ABSENT), "occupied", None, NOTHING, "and another keeps"),
    Cell(ENDS, P, then(passes("5s"), SAYS_ABSENT), "grace", 115, NOTHING, "cannot be"),
    Cell(ENDS, G, then(passes("5s"), SAYS_ABSENT), "grace", 595, NOTHING, "cannot be"),
    Cell(WARN, V, passes("9m30s"), "vacant", None, NOTHING, "cannot be"),
    Cell(WARN, A, passes("6s"), "arriving", 1, NOTHING, "cannot be"),
    Cell(WARN, O, passes("9m30s"), "occupied", None, NOTHING, "cannot be"),
    Cell(WARN, P, passes("1m59.999s"), "grace", 0.001, NOTHING, "no warning"),
    Cell(WARN, G, passes("9m29.999s"), "grace", 30.001, NOTHING, "not yet"),
    Cell(WARN, G, passes("9m30s"), "grace", 30, WARNED),
    Cell(UP, V, passes("1h"), "vacant", None, NOTHING, "cannot be"),
    Cell(UP, A, passes("6.9s"), "arriving", 0.1, NOTHING, "cannot be"),
    Cell(UP, O, passes("1h"), "occupied", None, NOTHING, "cannot be"),
    Cell(UP, P, passes("2m"), "vacant", None, VACANT),
    Cell(UP, G, then(passes("9m59.999s"), passes("0.001s")), "vacant", None, VACANT),
    Cell(LIGHT, V, asks("light"), "grace", 600, FULL),
    Cell(LIGHT, A, asks("light"), "occupied", None, FULL),
    Cell(LIGHT, O, asks("light"), "occupied", None, FULL),
    Cell(LIGHT, P, then(passes("1m"), asks("light")), "grace", 600, FULL),
    Cell(LIGHT, G, then(passes("9m40s"), asks("light")), "grace", 600, FULL),
    Cell(ASK_DARK, V, asks("dark"), "grace", 600, DARK),
    Cell(ASK_DARK, A, asks("dark"), "occupied", None, DARK),
    Cell(ASK_DARK, O, asks("dark"), "occupied", None, DARK),
    Cell(ASK_DARK, P, then(passes("1m"), asks("dark")), "grace", 600, DARK),
    Cell(ASK_DARK, G, then(passes("9m40s"), asks("dark")), "grace", 600, DARK),
    Cell(BLIND_ON, V, goes_out, "occupied", None, FULL, "", ON),
    Cell(BLIND_ON, A, goes_out, "occupied", None, NOTHING, "", ON),
    Cell(BLIND_ON, O, then(goes_out, passes("1d")), "occupied", None, {"bench": [0.4, 0.8]}, "", ON),
    Cell(BLIND_ON, P, goes_out, "occupied", None, NOTHING, "", ON),
    Cell(BLIND_ON, G, then(passes("9m40s"), goes_out), "occupied", None, {"bench": [0.8]}, "", ON),
    Cell(BLIND_OFF, V, goes_out, "vacant", None, NOTHING, "", OFF),
    Cell(BLIND_OFF, A, goes_out, "grace", 120, NOTHING, "", OFF),
    Cell(BLIND_OFF, O, goes_out, "grace", 600, NOTHING, "", OFF),
    Cell(BLIND_OFF, P, then(passes("5s"), goes_out), "grace", 115, NOTHING, "", OFF),
    Cell(BLIND_OFF, G, then(passes("5s"), goes_out), "grace", 595, NOTHING, "", OFF),
    Cell(BLIND_LAST, V, goes_out, "vacant", None, NOTHING, "", LAST),
    Cell(BLIND_LAST, A, goes_out, "occupied", 7200, NOTHING, "", LAST),
    Cell(BLIND_LAST, O, goes_out, "occupied", 7200, NOTHING, "", LAST),
    Cell(BLIND_LAST, O, then(goes_out, passes("1h59m59s")), "occupied", 1, NOTHING, "until stuck", LAST),
    Cell(BLIND_LAST, O, then(goes_out, passes("2h")), "grace", 600, NOTHING, "at most stuck", LAST),
    Cell(BLIND_LAST, P, then(passes("5s"), goes_out), "grace", 115, NOTHING, "", LAST),
    Cell(BLIND_LAST, G, then(passes("5s"), goes_out), "grace", 595, NOTHING, "", LAST),
    Cell(STUCK, V, then(DESK_SEES, passes("2h")), "vacant", None, NOTHING, "cannot be"),
    Cell(STUCK, A, passes("1h59m57s"), "grace", 120, NOTHING, "its presence ends", {"confirm": "3h"}),
    Cell(STUCK, O, passes("1h58m59.999s"), "occupied", None, NOTHING, "not yet"),
    Cell(STUCK, O, passes("1h59m"), "grace", 600, NOTHING, "its presence ends"),
    Cell(STUCK, P, passes("1m"), "grace", 60, NOTHING, "cannot be"),
    Cell(STUCK, G, passes("1m"), "grace", 540, NOTHING, "cannot be"),
    Cell(PART, V, evening, "vacant", None, {"glow": [0.3]}, "its vacant scene"),
    Cell(PART, A, evening, "arriving", 2, {"bench": [0.4]}, "its scene", {"at": "16:59:52"}),
    Cell(PART, O, evening, "occupied", None, {"bench": [0.4]}, "its scene", {"at": "16:58:55"}),
    Cell(PART, O, then(asks("dark"), evening), "occupied", None, NOTHING, "what was asked stays", {"at": "16:58:55"}),
    Cell(PART, P, evening, "grace", 115, {"bench": [0.4]}, "its scene", {"at": "16:59:52"}),
    Cell(PART, G, evening, "grace", 595, {"bench": [0.4]}, "its scene", {"at": "16:58:55"}),
    Cell(PART, G, evening, "grace", 20, {"bench": [0.4, 0.2]}, "warned if warned", {"at": "16:49:20"}),
    Cell(AGAIN, V, restarts, "vacant", None, VACANT),
    Cell(AGAIN, A, restarts, "arriving", 6, FULL),
    Cell(AGAIN, O, restarts, "occupied", None, FULL),
    Cell(AGAIN, P, restarts, "grace", 119, FULL, "timers keep their start"),
    Cell(AGAIN, P, then(passes("30s"), reloads), "grace", 150, FULL, "timers take the new length"),
    Cell(AGAIN, G, restarts, "grace", 599, FULL, "timers keep their start"),
    Cell(AGAIN, G, then(passes("9m40s"), reloads), "grace", 320, FULL, "timers take the new length"),
    Cell(AGAIN, G, lambda play: play.restart(after="10m"), "vacant", None, VACANT, "ends that lie behind have come"),
    Cell(
        AGAIN, A, lambda play: play.restart(after="7s"), "occupied", None, FULL, "confirm that lies behind has come",
    ),
)  # fmt: skip


@pytest.mark.parametrize("cell", CELLS, ids=str)
def test_cell(cell: Cell) -> None:
    play = workshop(**cell.room)
    COLUMNS[cell.column](play)
    assert (play.state(), play.left() is None) == _STANDS[cell.column]
    play.heard()

    cell.does(play)

    assert play.view().occupancy == play.state() == cell.state
    assert play.left() == (None if cell.left is None else pytest.approx(cell.left))
    assert play.heard() == cell.told


_STANDS = {V: ("vacant", True), A: ("arriving", False), O: ("occupied", True), P: ("grace", False), G: ("grace", False)}


def test_every_cell_is_tested() -> None:
    assert {(cell.row, cell.column) for cell in CELLS} == {(row, column) for row in ROWS for column in COLUMNS}


# ---- holds -----------------------------------------------------------------------------------------------------------


def held(play: Play) -> None:
    occupied(play)
    play.hold("start")
    play.pass_("5m")


def not_held(play: Play) -> None:
    occupied(play)


class HoldCell(NamedTuple):
    row: str
    held: bool
    does: Callable[[Play], None]
    state: str
    left: float | None
    told: dict[str, list[float]]
    case: str = ""

    def __str__(self) -> str:
        return f"{self.row}-{'held' if self.held else 'not held'}{' ' if self.case else ''}{self.case}"


START, END, TOGGLE, ASK, CHANGE, REFRESH = "start", "end", "toggle", "ask", "occupancy changes", "reconnect, restart"
LEVEL = {"hold": True, "level": 0.3}
HELD = {"bench": [0.3], "glow": [0.0]}


def holds(payload: object) -> Callable[[Play], None]:
    return lambda play: play.hold(payload)


def leaves(play: Play) -> None:
    play.say("radar", False)
    play.pass_("10m")


HOLD_CELLS = (
    HoldCell(START, False, holds("start"), "hold", 3600, NOTHING, "hands off"),
    HoldCell(START, False, holds(LEVEL), "hold", 3600, {"bench": [0.3]}, "the level at once"),
    HoldCell(
        START, False, then(SAYS_ABSENT, passes("9m40s"), holds("start")), "hold", 3600, {"bench": [0.8]},
        "in a warning the scene is restored",
    ),
    HoldCell(
        START, False, then(SAYS_ABSENT, passes("9m40s"), holds(LEVEL)), "hold", 3600, {"bench": [0.3]},
        "in a warning with a level",
    ),
    HoldCell(START, True, holds("start"), "hold", 3600, NOTHING, "time starts anew"),
    HoldCell(START, True, holds({**LEVEL, "for": "5m"}), "hold", 300, HELD, "replaced whole"),
    HoldCell(START, True, then(holds(LEVEL), passes("1m"), holds("start")), "hold", 3600, NOTHING, "level let go"),
    HoldCell(END, False, holds("end"), "occupied", None, NOTHING, "counted, no error"),
    HoldCell(END, True, holds("end"), "occupied", None, FULL),
    HoldCell(END, True, holds({"hold": False}), "occupied", None, FULL, "as an object"),
    HoldCell(END, True, passes("54m59.999s"), "hold", 0.001, NOTHING, "time not yet up"),
    HoldCell(END, True, passes("55m"), "occupied", None, FULL, "its time up"),
    HoldCell(END, True, then(holds({"hold": True, "for": "vacant"}), leaves), "vacant", None, VACANT, "when vacant"),
    HoldCell(
        END, True, then(holds({"hold": True, "for": "day_part"}), evening), "occupied", None, EVENING, "at a day part"
    ),
    HoldCell(END, True, then(holds({"hold": True, "for": "ever"}), passes("9d")), "hold", None, NOTHING, "never"),
    HoldCell(TOGGLE, False, holds("toggle"), "hold", 3600, NOTHING, "start with hold_for"),
    HoldCell(TOGGLE, True, holds("toggle"), "occupied", None, FULL),
    HoldCell(ASK, False, asks("light"), "occupied", None, FULL),
    HoldCell(ASK, False, asks("dark"), "occupied", None, DARK, "dark"),
    HoldCell(ASK, True, asks("light"), "occupied", None, FULL, "light ends the hold"),
    HoldCell(ASK, True, asks("dark"), "occupied", None, DARK, "dark ends the hold"),
    HoldCell(ASK, True, says("wall", "short"), "occupied", None, FULL, "by a button ends the hold"),
    HoldCell(CHANGE, False, leaves, "vacant", None, {"bench": [0.4, 0.0], "glow": [0.1]}),
    HoldCell(CHANGE, True, leaves, "hold", 2700, NOTHING, "it runs, nothing is sent"),
    HoldCell(REFRESH, False, lambda play: play.restart(), "occupied", None, FULL),
    HoldCell(REFRESH, True, lambda play: play.restart(), "hold", 3300, NOTHING, "hands-off: nothing"),
    HoldCell(
        REFRESH, True, then(holds(LEVEL), passes("1m"), lambda play: play.restart()), "hold", 3540, HELD,
        "with a level: all its lamps",
    ),
)  # fmt: skip


@pytest.mark.parametrize("cell", HOLD_CELLS, ids=str)
def test_hold_cell(cell: HoldCell) -> None:
    play = workshop_with_button()
    (held if cell.held else not_held)(play)
    play.heard()

    cell.does(play)

    assert play.state() == cell.state
    assert (play.view().hold is not None) is (cell.state == "hold")
    assert play.left() == (None if cell.left is None else pytest.approx(cell.left))
    assert play.heard() == cell.told


def workshop_with_button() -> Play:
    house = building(
        sensor("radar"),
        sensor("wall", "button", does={"short": "ask light", "double": "ask dark", "long": "hold toggle"}),
        lamp("bench"),
        lamp("glow"),
        room(
            "workshop", SCENES, sensors=["radar", "wall"], confirm="10s", grace="10m", relight="0s", hold_for="1h",
            warn={"before": "30s", "level": 0.5},
        ),
    )  # fmt: skip
    play = Play(house)
    play.pass_("1h")
    return play


def test_every_hold_cell_is_tested() -> None:
    rows = (START, END, TOGGLE, ASK, CHANGE, REFRESH)
    assert {(cell.row, cell.held) for cell in HOLD_CELLS} == {(row, held) for row in rows for held in (True, False)}


def test_occupancy_runs_beneath_a_hold_and_shows_when_it_ends() -> None:
    play = workshop_with_button()
    held(play)
    play.say("radar", False)
    assert (play.state(), play.view().occupancy) == ("hold", "grace")
    play.pass_("10m")
    assert (play.state(), play.view().occupancy) == ("hold", "vacant")
    play.heard()
    play.hold("end")
    assert (play.state(), play.heard()) == ("vacant", VACANT)


def test_an_end_without_a_hold_is_counted() -> None:
    play = workshop_with_button()
    play.hold("end")
    assert play.noted(NotHeld) == [NotHeld("workshop")]
    assert not play.noted(HoldEnded)


# ---- start without memory --------------------------------------------------------------------------------------------


def fresh() -> Play:
    return Play(workshop().building)


def test_start_without_memory_is_grace_after_occupied_with_the_lamps_untouched() -> None:
    play = fresh()
    assert (play.state(), play.left(), play.heard()) == ("grace", 600, {})
    assert play.view().fixtures == (("bench", None), ("glow", None))


def test_start_without_memory_touches_no_lamp_not_even_to_warn_until_its_end() -> None:
    play = fresh()
    play.pass_("9m59.999s")
    assert (play.state(), play.heard()) == ("grace", {})
    play.pass_("0.001s")
    assert (play.state(), play.heard()) == ("vacant", VACANT)


def test_start_without_memory_touches_the_lamps_when_a_sensor_speaks() -> None:
    play = fresh()
    play.pass_("1m")
    play.say("radar", True)
    assert (play.state(), play.heard()) == ("occupied", FULL)


def test_start_without_memory_with_presence_kept_by_the_broker_is_occupied() -> None:
    play = Play(workshop().building, radar=True)
    assert (play.state(), play.heard()) == ("occupied", FULL)


# ---- what cannot happen ----------------------------------------------------------------------------------------------


@given(st.sampled_from(State), st.sampled_from(Event))
def test_a_pair_stands_in_the_table_or_is_refused(state: State, event: Event) -> None:
    if event in OCCUPANCY[state]:
        assert move("workshop", state, event) is OCCUPANCY[state][event]
    else:
        with pytest.raises(IllegalMoveError):
            move("workshop", state, event)


@given(st.sampled_from(HoldState), st.sampled_from(HoldEvent))
def test_a_pair_of_holds_stands_in_the_table_or_is_refused(state: HoldState, event: HoldEvent) -> None:
    if event in HOLD[state]:
        assert move_hold("workshop", state, event) is HOLD[state][event]
    else:
        with pytest.raises(IllegalMoveError):
            move_hold("workshop", state, event)
