"""What the codes of faults and of refusals mean, and what to do about each: the README's tables."""

from collections.abc import Mapping
from types import MappingProxyType

import msgspec

from leerie.intake.metar import LONGEST
from leerie.intake.payloads import DEEPEST, MOST_BYTES
from leerie.notes import FaultCode, RefusalReason


class Meaning(msgspec.Struct, frozen=True):
    what: str
    remedy: str


FAULTS: Mapping[FaultCode, Meaning] = MappingProxyType(
    {
        "sensor_out": Meaning(
            "The sensor is gone, as its `online` topic says, or has been silent for `alive`; its presence has ended.",
            "See to its battery and its radio. Over with its next word.",
        ),
        "sensor_stuck": Meaning(
            "It has said present for `stuck` without a break, and is not believed until it says absent.",
            "Find what it sees (a fan, a curtain), or lengthen `stuck` if people do stay so long.",
        ),
        "battery_low": Meaning(
            "The sensor's battery is at `low` or below. It is heard as before.",
            "Change the battery. Over when it says that it is above `low`.",
        ),
        "room_blind": Meaning(
            "Every sensor of the room is out; the room follows `if_blind`.",
            "See to the sensors; meanwhile ask or hold. Over with the first one's next word.",
        ),
        "hold_forgotten": Meaning(
            "The room has been held for `ever` for more than a day.",
            "`leerie hold ROOM end`, if nobody wants it any more.",
        ),
        "event_retained": Meaning(
            "A wish, a press, an opening or a pulse came retained; it would come again with every reconnect.",
            "Send it without the retain flag, and clear the topic as the fault's text says.",
        ),
        "message_refused": Meaning(
            "What came for the room, or from one of its sensors, is not allowed; it changed nothing.",
            "Correct whoever sends it: the text says what is allowed. Over with the next that is taken.",
        ),
    }
)

REFUSALS: Mapping[RefusalReason, Meaning] = MappingProxyType(
    {
        "not_utf8": Meaning("The payload is no text.", "Is it the right topic?"),
        "too_large": Meaning(
            f"The payload is longer than {MOST_BYTES // 1024} KiB, or a METAR than {LONGEST} characters.",
            "Is it the right topic?",
        ),
        "too_deep": Meaning(
            f"The JSON has more than {DEEPEST} tables and lists within each other.", "Is it the right topic?"
        ),
        "not_json": Meaning(
            "There is a `pointer` and no JSON to follow it through; or a wish in braces is no JSON or has a key twice.",
            "Leave `pointer` out if the payload is the bare value.",
        ),
        "no_value": Meaning("Nothing stands where `pointer` points, or a wish lacks a key.", "Correct `pointer`."),
        "unknown_word": Meaning(
            "It is a word that means nothing here.",
            "Add it to `present`, `absent` or `does`, if it does mean something.",
        ),
        "wrong_type": Meaning("It is text where a number belongs, or the like.", "Does `pointer` point at the value?"),
        "out_of_range": Meaning("The number is none that can be.", "Is the `unit` right, is the sensor well?"),
        "unknown_key": Meaning("A wish has a key that wishes have not.", "The text names those they have."),
        "retained_event": Meaning("An event came retained.", "See `event_retained` above."),
        "unknown_topic": Meaning(
            "The broker sent what nobody asked for; the source is `unknown`.", "Look at the broker's settings."
        ),
    }
)
