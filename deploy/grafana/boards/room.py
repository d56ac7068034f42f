"""One room, and why it is as it is."""

from deploy.grafana.boards.panels import (
    ILL,
    PROMETHEUS,
    STATES,
    YES_NO,
    Panel,
    bars,
    board,
    curves,
    figure,
    in_rooms,
    state_of,
    timeline,
)
from grafana_foundation_sdk.builders.dashboard import Dashboard, QueryVariable
from grafana_foundation_sdk.models.dashboard import VariableRefresh, VariableSort

HERE = 'room="$room"'


def room() -> Dashboard:
    chosen = (
        QueryVariable("room")
        .label("Room")
        .description("The room's key in the config.")
        .query({"query": "label_values(leerie_room_state, room)", "refId": "rooms"})
        .datasource(PROMETHEUS)
        .refresh(VariableRefresh.ON_TIME_RANGE_CHANGED)
        .sort(VariableSort.ALPHABETICAL_ASC)
    )
    return board(
        "room",
        "One room over time: why it is as it is. In words, and with every number, leerie explain ROOM says it.",
        {"Now": _now(), "Why": _why(), "Light": _light(), "How well it goes": _well()},
    ).with_variable(chosen)


def _now() -> list[Panel]:
    return [
        figure(
            "State",
            "What the room is now. For the reasons in words: leerie explain ROOM.",
            "none",
            {"state": state_of(HERE)},
            values=STATES,
            width=6,
        ),
        figure(
            "Sensors that see somebody",
            "How many of the room's sensors count as present.",
            "none",
            {"sensors": f"sum({in_rooms('sensor', 'leerie_sensor_present', HERE)})"},
            width=6,
        ),
        figure(
            "False offs in the last day",
            "How often somebody was there within a minute of its going dark by itself. Good: 0 or 1.",
            "none",
            {"false offs": f"sum(room:leerie_false_offs:increase1d{{{HERE}}})"},
            amiss_from=3.5,
            width=6,
        ),
        figure(
            "Faults",
            "What stands in the room now. Good: 0; else see the timeline of faults below.",
            "none",
            {"faults": f"sum(leerie_room_faults{{{HERE}}})"},
            amiss_from=1,
            width=6,
        ),
    ]


def _why() -> list[Panel]:
    return [
        timeline(
            "States",
            "Arriving: seen, perhaps only passing. Occupied: in use. Grace: nobody seen, the light waits, and warns "
            "before it goes. Good: grace ends in vacant, not again and again in occupied.",
            STATES,
            {"state": state_of(HERE)},
            width=24,
            height=5,
        ),
        timeline(
            "Sensors",
            "Which of the room's sensors count as present, held over by clears or not; a door: while it stands open. "
            "Good: each of them sees somebody when somebody is there.",
            YES_NO,
            {"{{sensor}}": in_rooms("sensor", "leerie_sensor_present", HERE)},
            width=24,
            height=7,
        ),
        timeline(
            "Sensors that are out",
            "Gone, or silent for longer than alive allows. Good: no.",
            ILL,
            {"{{sensor}}": in_rooms("sensor", "leerie_sensor_out", HERE)},
        ),
        timeline(
            "Faults by kind",
            "The README has a table of them, with what to do. Good: no. room_blind: no sensor is left; "
            "message_refused: somebody sends what is not allowed.",
            ILL,
            {"{{code}}": f"max by (code) (leerie_fault_active{{{HERE}}})"},
        ),
    ]


def _light() -> list[Panel]:
    return [
        curves(
            "Levels",
            "How bright each lamp looks, as it was last told; a gap is a hands-off hold. Good: steps with the "
            "states, slow slopes with the light outdoors.",
            "percentunit",
            {"{{fixture}}": in_rooms("fixture", "leerie_fixture_level_ratio", HERE)},
            steps=True,
        ),
        curves(
            "Whites",
            "Colour temperature, as last told, of lamps that have one. Good: as your scenes and day parts say.",
            "kelvin",
            {"{{fixture}}": in_rooms("fixture", "leerie_fixture_colour_temperature_kelvin", HERE)},
            steps=True,
        ),
        curves(
            "Light outdoors",
            "What follow and lux go by. In a lit room it moves by a factor of at most 1.25 a minute; here it is as "
            "it is.",
            "lux",
            {"outdoors": "leerie_outdoor_illuminance_lux > 0"},
            log=True,
        ),
        curves(
            "Power",
            "What each lamp draws, estimated; lamps without watts are left out.",
            "watt",
            {"{{fixture}}": in_rooms("fixture", "fixture:leerie_power_watts:rate5m", HERE)},
        ),
    ]


def _well() -> list[Panel]:
    ran_out = f'leerie_room_transitions_total{{{HERE}, before="grace", after="vacant"}}'
    saved = f'leerie_room_transitions_total{{{HERE}, before="grace", after=~"arriving|occupied"}}'
    return [
        curves(
            "Graces in the last hour",
            "How often nobody was left and the grace ran out, and how often somebody came or moved before it did. "
            "Good: both happen. Only the second, all day: grace is short for this room. Only the first: it could be "
            "shorter.",
            "none",
            {"ran out": f"sum(increase({ran_out}[1h]))", "somebody came back": f"sum(increase({saved}[1h]))"},
        ),
        curves(
            "False offs",
            "How often in the last day somebody was there within a minute of its going dark, by the state before. "
            "After occupied: lengthen grace. After arriving: lengthen pass_through, or shorten confirm. Good: 0.",
            "none",
            {"after {{after}}": f"sum by (after) (increase(leerie_room_false_offs_total{{{HERE}}}[1d]))"},
        ),
        bars(
            "Where the time goes",
            "How long the room was in each state, within the time shown. Good: little grace beside much occupied.",
            "s",
            {"{{state}}": f"sum by (state) (increase(leerie_room_state_seconds_total{{{HERE}}}[$__range]))"},
        ),
        curves(
            "Commands",
            "What its lamps are told, by why. Good: much of it occupancy, drift and refresh. Much reconnect: the "
            "broker is unsteady.",
            "cpm",
            {
                "{{cause}}": "60 * sum by (cause) (rate(leerie_commands_sent_total[$__rate_interval])"
                f" * on (instance, fixture) group_left () leerie_room_fixture_info{{{HERE}}})"
            },
        ),
    ]
