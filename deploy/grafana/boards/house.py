"""All rooms at a glance."""

from deploy.grafana.boards.panels import (
    STATES,
    WELL,
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
from grafana_foundation_sdk.builders.dashboard import Dashboard, DashboardLink

TO_THE_ROOM = "/d/leerie-room?var-room=${__field.labels.room}&${__url_time_range}"


def house() -> Dashboard:
    rooms = timeline(
        "Rooms",
        "The state of each room. Arriving: seen, perhaps only passing. Grace: nobody seen, the light waits. Hold: "
        "somebody has taken it over. Good: it looks like the day that you remember. A click on a bar leads to the "
        "room.",
        STATES,
        {"{{room}}": state_of()},
        width=24,
        height=10,
    ).data_links([DashboardLink("This room").url(TO_THE_ROOM)])
    return board(
        "house",
        "All rooms of the building: who is there, what is lit, what is held, what is wrong.",
        {
            "Now": _now(),
            "Who is there": [
                rooms,
                timeline(
                    "Presence",
                    "Whether any sensor of the room counts as present. Good: it follows people. A bar without an end "
                    "is a sensor that is stuck; rooms without sensors do not appear.",
                    YES_NO,
                    {"{{room}}": f"max by (room) ({in_rooms('sensor', 'leerie_sensor_present')})"},
                ),
                timeline(
                    "Holds",
                    "Rooms that somebody has taken over. Good: now and then. A room that is always held is one whose "
                    "automation nobody wants: ask why.",
                    {"no": STATES["none"], "yes": STATES["hold"]},
                    {"{{room}}": "max by (room) (leerie_hold_active)"},
                ),
            ],
            "Light": _light(),
            "What is wrong": [
                curves(
                    "Faults by room",
                    "Faults that stand in each room; leerie explain ROOM names them, the README says what to do. "
                    "Good: 0.",
                    "none",
                    {"{{room}}": "sum by (room) (leerie_room_faults)"},
                    steps=True,
                ),
                bars(
                    "False offs in the last day",
                    "How often somebody was there within a minute of a room's going dark by itself. Good: 0 or 1. From "
                    "4 on the grace is too short, or a sensor sees too little.",
                    "none",
                    {"{{room}}": "sum by (room) (room:leerie_false_offs:increase1d)"},
                    amiss_from=3.5,
                ),
            ],
        },
    )


def _now() -> list[Panel]:
    return [
        figure(
            "Connected",
            "Whether leerie has its broker. Good: yes. No: no sensor is heard and no lamp told.",
            "none",
            {"connected": "min(leerie_broker_connected)"},
            values=WELL,
        ),
        figure(
            "Rooms in use",
            "Rooms that are arriving, occupied or in grace; a held one counts as held.",
            "none",
            {"rooms": 'sum(leerie_room_state{state=~"arriving|occupied|grace"})'},
        ),
        figure("Rooms held", "Rooms that somebody has taken over.", "none", {"rooms": "sum(leerie_hold_active)"}),
        figure(
            "Lamps lit",
            "Lamps whose last command was to be lit. In a hands-off hold nobody knows, and they do not count.",
            "none",
            {"lamps": "count(leerie_fixture_level_ratio > 0) or vector(0)"},
        ),
        figure(
            "Faults",
            "All that stand in rooms now. Good: 0.",
            "none",
            {"faults": "sum(leerie_room_faults)"},
            amiss_from=1,
        ),
        figure(
            "Alerts",
            "Alerts that fire now. Good: 0. RUNBOOK.md says what each means.",
            "none",
            {"alerts": 'count(ALERTS{alertstate="firing"}) or vector(0)'},
            amiss_from=1,
        ),
    ]


def _light() -> list[Panel]:
    return [
        curves(
            "Lamps' levels",
            "How bright each lamp looks, as it was last told: 50 % looks half as bright and is a quarter of the "
            "light. A gap is a hands-off hold. Good: steps when people come and go, slow slopes with the day, no "
            "flicker.",
            "percentunit",
            {"{{fixture}}": "leerie_fixture_level_ratio"},
            steps=True,
        ),
        curves(
            "Whites",
            "Colour temperature of lit lamps, as last told. Good: warm mornings and evenings, as your scenes say.",
            "kelvin",
            {"{{fixture}}": "leerie_fixture_colour_temperature_kelvin and (leerie_fixture_level_ratio > 0)"},
            steps=True,
        ),
        curves(
            "Light outdoors",
            "Of sun and sky on the horizontal, from the sensor on the roof or from the sun and the clouds. Good: a "
            "bright day is 10 000 lx and more, an overcast one some thousand, dusk some lux.",
            "lux",
            {"outdoors": "leerie_outdoor_illuminance_lux > 0"},
            log=True,
            width=8,
        ),
        curves(
            "Sun",
            "Height of the sun above the horizon; below -6° it is dark. Good: highest at noon, or the clock or the "
            "place is wrong.",
            "degree",
            {"height": "leerie_sun_elevation_degrees"},
            width=8,
        ),
        curves(
            "Power",
            "What the lamps of each room draw, estimated from watts, standby and level; lamps without watts are left "
            "out. Good: near nothing when nobody is there.",
            "watt",
            {"{{room}}": f"sum by (room) ({in_rooms('fixture', 'fixture:leerie_power_watts:rate5m')})"},
            width=8,
        ),
        timeline(
            "Day part",
            "The building's part of the day that began last. Good: they change when you would change the light.",
            YES_NO,
            {"{{day_part}}": "max by (day_part) (leerie_day_part)"},
            width=16,
            height=6,
        ),
        curves(
            "Cloud",
            "Share of the sky that is cloud, as last told. Good: it moves; a flat line for days is a feed that has "
            "died.",
            "percentunit",
            {"cloud": "leerie_cloud_cover_ratio"},
            steps=True,
            width=8,
        ).height(6),
    ]
