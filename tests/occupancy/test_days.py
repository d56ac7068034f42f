"""Days in rooms as people live in them."""

from play import Play, building, day_part, lamp, room, sensor

from leerie.notes import FalseOff, HoldEnded

NIGHTS = day_part("day", "07:00") + day_part("night", "22:30")


def test_a_home_office_whose_radar_also_sees_a_fan() -> None:
    """The radar may only keep light, so the fan alone lights nothing; and it cannot keep light for ever."""
    office = building(
        sensor("pir", "motion", clears="30s"),
        sensor("radar", stuck="4h"),
        lamp("desk"),
        room("office", {"day": {"desk": 0.8}}, sensors=["pir"], keep=["radar"], grace="10m", warn=False),
    )
    play = Play(office, "2026-06-01T06:00", radar=False)
    play.until("07:30")
    play.say("radar", True)  # the fan starts by its clock
    play.pass_("1m")
    assert (play.state("office"), play.levels["desk"]) == ("vacant", 0.0)

    play.until("09:00")
    play.say("pir", "on")
    assert (play.state("office"), play.levels["desk"]) == ("arriving", 0.8)
    play.pass_("15s")
    play.say("pir", "on")
    assert play.state("office") == "occupied"
    play.until("11:00")  # sits still; the radar sees person and fan alike
    assert play.state("office") == "occupied"

    play.until("11:29:59")  # gone to lunch since, but the fan runs on
    assert (play.state("office"), play.faults("office")) == ("occupied", [])
    play.until("11:30")  # four hours without a break: nobody believes that
    assert (play.state("office"), play.faults("office")) == ("grace", ["sensor_stuck radar"])
    play.until("11:40")
    assert (play.state("office"), play.levels["desk"]) == ("vacant", 0.0)

    play.until("13:00")
    play.say("pir", "on")
    play.pass_("20s")
    play.say("pir", "on")
    assert (play.state("office"), play.levels["desk"]) == ("occupied", 0.8)
    play.pass_("30s")  # the fan does not keep what the person does not
    assert play.state("office") == "grace"

    play.say("radar", False)  # fan off: the radar is to be believed again
    assert play.faults("office") == []
    play.say("radar", True)
    assert play.state("office") == "occupied"


def test_a_hold_forgotten_overnight() -> None:
    house = building(sensor("radar"), lamp("bench"), room("workshop", {"day": {"bench": 0.8}}, sensors=["radar"]))
    play = Play(house, "2026-03-02T12:00")
    play.say("radar", True)
    play.until("21:00")
    play.hold({"hold": True, "for": "ever", "level": 0.3})
    play.say("radar", False)
    play.until("20:59:59")
    assert (play.state(), play.levels["bench"], play.faults()) == ("hold", 0.3, [])
    play.until("21:00")
    assert (play.state(), play.levels["bench"], play.faults()) == ("hold", 0.3, ["hold_forgotten workshop"])
    assert play.view().hold is not None
    assert play.view().until is None

    play.hold("end")
    assert (play.state(), play.levels["bench"], play.faults()) == ("vacant", 0.0, [])
    assert [note.why for note in play.noted(HoldEnded)] == ["end"]


def test_a_bedroom_at_three_in_the_morning() -> None:
    house = building(
        sensor("floor", "motion", clears="20s"),
        sensor("head", "button", does={"up": "raise", "dark": "ask dark", "light": "ask light"}),
        lamp("path"),
        lamp("ceiling"),
        room(
            "bedroom",
            {"day": {"ceiling": 0.7}, "night": {"path": 0.05}},
            {"night": {"grace": "2m", "pass_through": "1m", "warn": False}},
            sensors=["floor", "head"],
            relight="0s",
        ),
        days=NIGHTS,
    )
    play = Play(house, "2026-01-10T21:00")
    play.until("03:00")
    play.heard()
    play.say("floor", "on")
    assert play.heard() == {"path": [0.05]}
    play.pass_("1s")
    play.say("head", "up")
    assert play.heard() == {"path": [0.055]}
    play.pass_("20s")
    assert (play.state("bedroom"), play.left("bedroom")) == ("grace", 59)  # through the door
    play.pass_("59s")
    assert play.heard() == {"path": [0.0]}

    play.until("03:20")
    play.say("floor", "on")
    assert play.heard() == {"path": [0.05]}  # the wish for more was for that walk only
    play.pass_("1s")
    play.say("head", "dark")  # the other one is asleep
    play.pass_("5s")
    play.say("floor", "on")
    play.pass_("5s")
    play.say("floor", "on")
    assert (play.view("bedroom").asked, play.levels["path"]) == ("dark", 0.0)
    play.until("03:30")
    assert (play.state("bedroom"), play.view("bedroom").asked) == ("vacant", None)

    play.until("05:30")
    play.say("floor", "on")
    assert play.levels == {"path": 0.05, "ceiling": 0.0}


def test_stairs_as_an_escape_route() -> None:
    house = building(
        sensor("landing", "motion", clears="20s"),
        lamp("stair"),
        room(
            "stairs", {"day": {"stair": 0.8}, "vacant": {"stair": 0.2}}, sensors=["landing"], egress=True, grace="15m"
        ),
    )
    play = Play(house)
    play.pass_("1h")
    assert (play.state("stairs"), play.levels["stair"]) == ("vacant", 0.2)

    play.say("landing", "on")
    play.pass_("20s")
    assert (play.state("stairs"), play.left("stairs")) == ("grace", 900)  # nobody passes through a staircase quickly
    play.heard()
    play.pass_("14m59s")
    assert play.heard() == {}  # no warning
    play.pass_("1s")
    assert play.heard() == {"stair": [0.2]}

    play.pass_("1h")
    play.say("landing", "on")
    play.pass_("1s")
    play.bias(-0.9, "stairs")
    play.pass_("1s")
    assert play.levels["stair"] == 0.8
    play.pass_("1s")
    play.ask("dark", "stairs")
    assert play.levels["stair"] == 0.2
    play.pass_("1s")
    play.hold({"hold": True, "level": 0}, "stairs")
    assert (play.state("stairs"), play.levels["stair"]) == ("hold", 0.2)
    play.pass_("1s")
    play.heard()
    play.hold("start", "stairs")  # hands off, but lit
    assert play.heard() == {"stair": [0.8]}


def test_the_cleaner_at_five() -> None:
    """At night nothing lights by itself; who asks gets light, and it goes out after them."""
    house = building(
        sensor("radar"),
        sensor("wall", "button", does={"short": "ask light"}),
        lamp("bench"),
        lamp("ceiling"),
        room(
            "workshop",
            {"day": {"bench": 0.9, "ceiling": 0.6}, "night": {}, "asked": {"ceiling": 1.0}},
            sensors=["radar", "wall"],
            grace="10m",
            warn={"before": "30s", "level": 0.5},
        ),
        days=NIGHTS,
    )
    play = Play(house, "2026-03-02T20:00")
    play.until("05:00")
    play.say("radar", True)
    assert (play.state(), play.levels) == ("arriving", {"bench": 0.0, "ceiling": 0.0})
    play.pass_("20s")
    play.say("wall", "short")
    assert (play.state(), play.view().asked, play.levels) == ("occupied", "light", {"bench": 0.0, "ceiling": 1.0})
    play.until("05:40")
    play.say("radar", False)
    play.until("05:49:30")
    assert play.levels["ceiling"] == 0.5  # goes out soon: wave
    play.pass_("1s")
    play.say("radar", True)
    assert play.levels["ceiling"] == 1.0
    play.say("radar", False)
    play.pass_("10m")
    assert (play.state(), play.view().asked, play.levels) == ("vacant", None, {"bench": 0.0, "ceiling": 0.0})


def bathroom(door: str, shut: object = "closed") -> Play:
    house = building(
        sensor("pir", "motion", clears="20s", stuck="2h"),
        door,
        lamp("mirror"),
        room(
            "bath", {"day": {"mirror": 0.9}}, sensors=["pir", "door"], enclosed=True, grace="5m", pass_through="1m",
            relight="0s",
        ),
    )  # fmt: skip
    play = Play(house, door=shut)
    play.pass_("1h")
    return play


def test_a_bathroom_where_somebody_sits_still() -> None:
    play = bathroom(sensor("door", "door"))
    play.say("door", "open")
    assert (play.state("bath"), play.levels["mirror"]) == ("grace", 0.9)  # an opening is evidence and nothing more
    play.pass_("3s")
    play.say("pir", "on")
    play.pass_("2s")
    play.say("door", "closed")
    play.pass_("40s")  # longer than settle and clears: what moves now is inside
    play.say("pir", "on")
    play.pass_("1h")
    assert (play.state("bath"), play.levels["mirror"]) == ("occupied", 0.9)

    play.say("door", "open")
    assert play.state("bath") == "grace"
    play.pass_("2s")
    play.say("door", "closed")
    play.pass_("5m")
    assert (play.state("bath"), play.levels["mirror"]) == ("vacant", 0.0)
    assert not play.noted(FalseOff)


def test_a_cat_at_night() -> None:
    """At night only the door brings light; what moves inside merely keeps it."""
    house = building(
        sensor("pir", "motion", clears="20s"),
        sensor("door", "door"),
        lamp("ceiling"),
        room(
            "kitchen",
            {"day": {"ceiling": 0.8}, "night": {"ceiling": 0.2}},
            {"night": {"sensors": ["door"], "keep": ["pir"]}},
            sensors=["pir", "door"],
            confirm="10s",
            pass_through="2m",
            grace="5m",
            relight="0s",
        ),
        days=NIGHTS,
    )
    play = Play(house, "2026-03-02T20:00", door="closed")
    play.until("02:00")
    play.heard()
    for _ in range(20):
        play.say("pir", "on")
        play.pass_("10s")
    assert (play.state("kitchen"), play.heard()) == ("vacant", {})

    play.pass_("10m")
    play.say("door", "open")
    assert play.levels["ceiling"] == 0.2
    play.pass_("4s")
    play.say("pir", "on")
    assert play.state("kitchen") == "occupied"
    play.until("07:30")
    assert (play.state("kitchen"), play.levels["ceiling"]) == ("vacant", 0.0)
    play.say("pir", "on")  # by day it may
    assert (play.state("kitchen"), play.levels["ceiling"]) == ("arriving", 0.8)


def test_two_sensors_that_disagree() -> None:
    """Any present means present, as long as that one can be believed to be there at all."""
    house = building(
        sensor("near", online={"topic": "near_up", "present": ["up"], "absent": ["lost"]}),
        sensor("far"),
        lamp("bench"),
        room("workshop", {"day": {"bench": 0.8}}, sensors=["near", "far"], grace="10m"),
    )
    play = Play(house, near=False, far=False)
    play.pass_("1h")
    play.say("near", True)
    play.pass_("1m")
    play.say("far", False)
    assert play.state() == "occupied"
    play.say("far", True)
    play.say("near", False)
    play.say("far", False)
    assert play.state() == "grace"

    play.say("near", True)
    play.say("near_up", "lost")  # its last word counts no longer
    assert (play.state(), play.faults()) == ("grace", ["sensor_out near"])
    play.say("far", True)
    assert play.state() == "occupied"
    play.say("near_up", "up")
    assert play.faults() == []


def test_a_door_contact_that_says_true_for_shut() -> None:
    play = bathroom(sensor("door", "door", present=[False], absent=[True]), shut=True)
    play.say("door", True)
    assert play.state("bath") == "vacant"
    play.say("door", False)
    assert play.levels["mirror"] == 0.9
    play.pass_("1s")
    play.say("door", True)
    play.pass_("31s")
    play.say("pir", "on")
    play.pass_("1h")
    assert play.state("bath") == "occupied"  # shut, and somebody inside
    play.say("door", "open")
    assert (play.state("bath"), play.faults("bath")) == ("occupied", ["message_refused door"])
    play.say("door", False)
    assert play.state("bath") == "grace"
