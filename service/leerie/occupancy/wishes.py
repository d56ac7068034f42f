"""What people wish of a room: holds, asks and biases, and how each ends."""

from typing import Literal

from msgspec.structs import replace

from leerie.config.building import HoldEnd
from leerie.intake.inputs import AskWish, BiasWish, HoldWish
from leerie.notes import HoldBegun, HoldEnded, NotHeld
from leerie.now import Now
from leerie.occupancy.records import Asked, Biased, Hold
from leerie.occupancy.table import Event, HoldEvent, HoldState, move_hold
from leerie.occupancy.turn import Turn

RAISE_STEP = 0.1
DIMMEST_BIAS, BRIGHTEST_BIAS = -0.9, 1.0

By = Literal["topic", "button", "hand"]
_EVENTS = {"start": HoldEvent.START, "end": HoldEvent.END, "toggle": HoldEvent.TOGGLE}


def hold(turn: Turn, wish: HoldWish, by: By, now: Now) -> None:
    """Start, end or toggle a hold. An end where there is none is counted and is no error."""
    before = _held(turn)
    after = move_hold(turn.place.room.name, before, _EVENTS[wish.action])
    if after is HoldState.HELD:
        _start(turn, wish, by, now)
    elif before is HoldState.HELD:
        _end(turn, "end", now)
    else:
        turn.notes.append(NotHeld(turn.place.room.name))  # trial: an end without a hold


def _held(turn: Turn) -> HoldState:
    return HoldState.FREE if turn.occupancy.hold is None else HoldState.HELD


def _start(turn: Turn, wish: HoldWish, by: By, now: Now) -> None:
    room = turn.place.room
    ends = room.hold_for if wish.ends is None else wish.ends
    taken = Hold(now, ends, by, wish.level, wish.kelvin)
    occupancy = turn.occupancy
    turn.restore = wish.level is None and _needs_scene(turn)
    # While hands were off a person may have set any lamp to anything.
    turn.force = turn.force or (wish.level is not None and occupancy.hold is not None and occupancy.hold.level is None)
    turn.occupancy = replace(occupancy, hold=taken, untouched=False)
    turn.cause = "hold"
    turn.notes.append(HoldBegun(room.name, by, wish.level, wish.kelvin, now))


def _needs_scene(turn: Turn) -> bool:
    """Before hands go off: a warned room is brought back to its scene, an escape route is lit."""
    occupancy = turn.occupancy
    if occupancy.hold is None:
        return occupancy.warned or turn.place.room.egress  # trial: a scene before hands go off
    return turn.place.room.egress and occupancy.hold.level is not None


def _end(turn: Turn, why: Literal["end", "time", "vacant", "day_part", "ask"], now: Now) -> None:
    turn.occupancy = replace(turn.occupancy, hold=None)
    turn.cause = "hold_end"
    turn.force = True
    turn.restore = False
    turn.notes.append(HoldEnded(turn.place.room.name, why, now))


def condition(turn: Turn, why: Literal["time", "vacant", "day_part"], now: Now) -> None:
    """A moment has come that may end the room's hold and its bias: a time that is up, vacancy, the start of a day
    part.
    """
    held = turn.occupancy.hold
    if held is not None and _over(held.ends, held.since, why, now):
        move_hold(turn.place.room.name, HoldState.HELD, HoldEvent.OVER)
        _end(turn, why, now)
    bias = turn.occupancy.bias
    if bias is not None and _over(bias.ends, bias.since, why, now):
        turn.occupancy = replace(turn.occupancy, bias=None)  # trial: a bias is over


def _over(ends: HoldEnd, since: Now, why: str, now: Now) -> bool:
    if isinstance(ends, int):
        return now.steady >= since.steady + ends
    return ends == why


def ask(turn: Turn, wish: AskWish, now: Now) -> None:
    """Light or dark, now; a hold is over. Automation goes on."""
    if turn.occupancy.hold is not None:
        move_hold(turn.place.room.name, HoldState.HELD, HoldEvent.ASKED)
        _end(turn, "ask", now)
    turn.move(Event.ASKED, now)
    turn.occupancy = replace(turn.occupancy, asked=Asked(wish.light, now), untouched=False)
    turn.see_presence(now)
    turn.cause = "ask"
    turn.force = True


def bias(turn: Turn, wish: BiasWish, now: Now) -> None:
    """A person's wish for this room, dimmer or brighter; 0 clears it."""
    wanted = Biased(wish.bias, now, wish.ends) if wish.bias else None
    turn.occupancy = replace(turn.occupancy, bias=wanted)
    turn.cause = "bias"


def nudge(turn: Turn, up: bool, now: Now) -> None:
    """A button's raise or lower: a step from what is now, until the room is vacant."""
    current = turn.occupancy.bias.bias if turn.occupancy.bias else 0.0
    stepped = current + (RAISE_STEP if up else -RAISE_STEP)
    value = round(min(BRIGHTEST_BIAS, max(DIMMEST_BIAS, stepped)), 3)
    bias(turn, BiasWish(turn.place.room.name, value, "vacant"), now)
