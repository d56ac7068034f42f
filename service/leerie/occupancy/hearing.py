"""What is heard of sensors and people, brought to the right machine."""

from msgspec.structs import replace

from leerie.config.building import Deed
from leerie.intake.inputs import AskWish, BatterySaid, BiasWish, HoldWish, Input, Metered, OnlineSaid, Pressed, Said
from leerie.notes import Fault, Refused
from leerie.now import Now
from leerie.occupancy import wishes
from leerie.occupancy.records import PastEvent
from leerie.occupancy.turn import Turn

MOST_RECENT = 15
"""Nobody presses more buttons in that time; a flood of different wishes is not remembered."""
SAME_EVENT_MS = 500
"""The same event within this is one: brokers repeat, fingers bounce."""


def hear(turn: Turn, given: Input, now: Now) -> bool:
    """Let an input move the room; returns whether it was an event, after which the room always speaks."""
    match given:
        case Said():
            turn.hear(given, now)
            event = given.present and not given.retained and turn.place.sensors[given.sensor].kind in ("motion", "door")
            _taken(turn, given.sensor, event=event)
            return event
        case OnlineSaid():
            turn.hear_online(given, now)  # trial: online or gone
        case BatterySaid():
            turn.hear_battery(given, now)
        case Metered():
            _taken(turn, "meter", event=False)
        case Pressed() | HoldWish() | AskWish() | BiasWish():
            _event(turn, given, now)
            return True
        case _:
            pass
    return False


def refuse(turn: Turn, note: Refused, now: Now) -> None:
    """A message for this room was refused; it is named in the room's faults and changes nothing else."""
    fault = Fault(
        "event_retained" if note.reason == "retained_event" else "message_refused", note.source, now.wall, note.text
    )
    others = tuple(other for other in turn.occupancy.refusals if other.what != note.source)
    turn.occupancy = replace(turn.occupancy, refusals=(*others, fault))


def _taken(turn: Turn, source: str, *, event: bool) -> None:
    """A refusal stands until an event, or another word of the same source, is taken."""
    left = () if event else tuple(refusal for refusal in turn.occupancy.refusals if refusal.what != source)
    if left != turn.occupancy.refusals:
        turn.occupancy = replace(turn.occupancy, refusals=left)


def _event(turn: Turn, given: Pressed | HoldWish | AskWish | BiasWish, now: Now) -> None:
    key = repr(given)
    recent = tuple(event for event in turn.occupancy.events if now.steady - event.at.steady < SAME_EVENT_MS)
    # An absolute wish said again is idle, and after another it is the newest; a relative one would be done twice.
    if key in [event.key for event in (recent if _relative(given) else recent[-1:])]:
        return
    turn.occupancy = replace(turn.occupancy, events=(*recent[-MOST_RECENT:], PastEvent(key, now)))
    match given:
        case HoldWish():
            wishes.hold(turn, given, "topic", now)
        case AskWish():
            wishes.ask(turn, given, now)
        case BiasWish():
            wishes.bias(turn, given, now)
        case Pressed(sensor, deed):
            _press(turn, deed, now)
            _taken(turn, sensor, event=deed is not None)
            return
    _taken(turn, "", event=True)


def _relative(given: Pressed | HoldWish | AskWish | BiasWish) -> bool:
    if isinstance(given, Pressed):
        return given.deed in ("hold toggle", "raise", "lower")
    return isinstance(given, HoldWish) and given.action == "toggle"


def _press(turn: Turn, deed: Deed | None, now: Now) -> None:
    room = turn.place.room.name
    match deed:
        case "ask light" | "ask dark":
            wishes.ask(turn, AskWish(room, deed == "ask light"), now)
        case "hold toggle":
            wishes.hold(turn, HoldWish(room, "toggle", None, None, None), "button", now)
        case "hold start":
            wishes.hold(turn, HoldWish(room, "start", None, None, None), "button", now)
        case "hold end":
            wishes.hold(turn, HoldWish(room, "end", None, None, None), "button", now)
        case "raise" | "lower":
            wishes.nudge(turn, deed == "raise", now)
        case None:
            pass
