"""Why a room's occupancy is as it is, and what is wrong in it."""

from collections.abc import Iterator

from leerie.config.durations import render
from leerie.notes import Fault
from leerie.now import HOUR_MS
from leerie.occupancy.records import Occupancy, Place, Sensed
from leerie.occupancy.table import Event, State
from leerie.occupancy.turn import Turn
from leerie.reasons import StateReason


def state_reason(turn: Turn) -> StateReason:
    """What brought the room into its state or keeps it there."""
    occupancy = turn.occupancy
    shown = occupancy.state.shown
    since = occupancy.since.wall
    if occupancy.state in (State.ARRIVING, State.OCCUPIED):
        return _in_use(turn, shown)
    if occupancy.event is None:
        return StateReason(shown, "started", None, since)
    if occupancy.state is State.VACANT:
        return StateReason(shown, "time_up", None, since)
    if occupancy.event is Event.ASKED:
        return StateReason(shown, "asked", None, since)
    return StateReason(shown, "ended", None, since)


def _in_use(turn: Turn, shown: str) -> StateReason:
    occupancy = turn.occupancy
    for group in (turn.rules.sensors, turn.rules.keep):
        for name in group:
            sensed = occupancy.sensors[name]
            if sensed.present and turn.place.sensors[name].kind in ("presence", "motion"):
                first = sensed.first or occupancy.since
                return StateReason(shown, "present", name, first.wall)
    if occupancy.latch is not None:
        return StateReason(shown, "enclosed", occupancy.latch.sensor, occupancy.latch.at.wall)
    if occupancy.blind is not None:
        return StateReason(shown, "blind", None, occupancy.blind.wall)
    return StateReason(shown, "no_sensors", None, occupancy.since.wall)


def faults(occupancy: Occupancy, place: Place) -> tuple[Fault, ...]:
    """Everything that is wrong in the room, in the order of its sensors."""
    found = [fault for name in place.sensors for fault in _of_sensor(name, occupancy.sensors[name], place)]
    if occupancy.blind is not None:
        text = f"every sensor of {place.room.name} is out; the room follows if_blind = {place.room.if_blind}"
        found.append(Fault("room_blind", place.room.name, occupancy.blind.wall, text))
    held = occupancy.hold
    if held is not None and held.forgotten is not None:
        text = f"held for ever since more than {render(24 * HOUR_MS)}; end the hold if nobody wants it"
        found.append(Fault("hold_forgotten", place.room.name, held.forgotten.wall, text))
    found.extend(occupancy.refusals)
    return tuple(found)


def _of_sensor(name: str, sensed: Sensed, place: Place) -> Iterator[Fault]:
    sensor = place.sensors[name]
    if sensed.gone is not None:
        yield Fault("sensor_out", name, sensed.gone.wall, f"{name} is gone, as its online topic says")
    elif sensed.silent is not None:
        yield Fault("sensor_out", name, sensed.silent.wall, f"{name} silent for {render(sensor.alive_ms or 0)}")
    if sensor.kind == "presence" and sensed.ended is not None and sensed.ended.why == "stuck":
        text = f"{name} says present for {render(sensor.stuck_ms)} without a break; not believed until it says absent"
        yield Fault("sensor_stuck", name, sensed.ended.at.wall, text)
    if sensed.low is not None:
        yield Fault("battery_low", name, sensed.low.wall, f"the battery of {name} is low")
