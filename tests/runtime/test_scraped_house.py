"""Present sensors and lamps that nobody knows, as a scrape sees them."""

from math import isnan
from pathlib import Path

import pytest
from scraped_house import HOUSE, Scraped


@pytest.fixture
def house(tmp_path: Path) -> Scraped:
    path = tmp_path / "leerie.toml"
    path.write_text(HOUSE)
    return Scraped(path)


# ---- a sensor is present ---------------------------------------------------------------------------------------------


def test_a_presence_sensor_is_present_until_it_says_absent(house: Scraped) -> None:
    assert house.present("radar") == 0
    house.say("radar", "on")
    house.pass_("1h")
    assert house.present("radar") == 1
    house.say("radar", "off")
    assert house.present("radar") == 0


def test_a_pulse_is_held_over_by_clears_and_no_longer(house: Scraped) -> None:
    house.say("pir", "on")
    house.pass_("19.999s")
    assert house.present("pir") == 1
    house.pass_("0.001s")
    assert house.present("pir") == 0


def test_one_that_nobody_believes_any_more_is_not_present(house: Scraped) -> None:
    """After `stuck` (12 h), or when its online topic says that it is gone."""
    house.say("radar", "on")
    house.pass_("12h")
    assert house.present("radar") == 0
    house.say("radar", "off")
    house.say("radar", "on")
    house.say("radar_up", "off")
    assert (house.present("radar"), house.of("sensor_out", sensor="radar")) == (0, 1)


def test_a_second_sensor_in_a_room_in_use_is_shown_at_once(house: Scraped) -> None:
    house.say("radar", "on")
    house.pass_("1m")
    house.say("pir", "on")
    assert (house.present("radar"), house.present("pir")) == (1, 1)


def test_a_door_is_present_while_it_stands_open(house: Scraped) -> None:
    house.say("door", "open")
    house.pass_("1h")
    assert (house.present("door"), house.of("room_state", room="workshop", state="vacant")) == (1, 1)
    house.say("door", "closed")
    assert house.present("door") == 0


def test_of_two_rooms_one_is_enough(house: Scraped) -> None:
    """By night the stair does not listen to the pir; the workshop does."""
    house.pass_("11h")
    house.say("pir", "on")
    assert house.present("pir") == 1


def test_buttons_have_no_presence(house: Scraped) -> None:
    """And a sensor in no room is present in none."""
    with pytest.raises(KeyError):
        house.present("button")
    house.say("spare", "on")
    assert house.present("spare") == 0


# ---- hands off -------------------------------------------------------------------------------------------------------


def test_hands_off_nobody_knows_the_lamps_and_time_goes_on_through_a_restart_too(house: Scraped) -> None:
    """At what the lamp was last told before: light, whatever hands have done to it since."""
    house.say("radar", "on")
    house.pass_("1m")
    house.say("leerie/room/workshop/hold", '{"hold": true, "for": "ever"}')
    for _ in range(2):
        lit_s = house.of("fixture_lit_seconds_total", fixture="bench")
        house.pass_("1h")
        assert isnan(house.of("fixture_level_ratio", fixture="bench"))
        assert isnan(house.of("fixture_colour_temperature_kelvin", fixture="bench"))
        assert house.of("fixture_lit_seconds_total", fixture="bench") == lit_s + 3_600
        house.start()
    house.say("leerie/room/workshop/hold", "end")
    assert house.of("fixture_level_ratio", fixture="bench") == 0.8
