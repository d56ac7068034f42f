"""Real people in a real home and a real office, through the real controller.

Data: WSU CASAS smart home traces (Cook, Crandall, Thomas, Krishnan, IEEE Computer 46(7):62-69, 2013) and UCI 864 Room
Occupancy Estimation (CC BY 4.0, DOI 10.24432/C5P605). `pytest -s` prints the figures.
"""

import csv
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import pytest
from play import DAY, Play, building, lamp, room, sensor

from leerie.config.building import Building
from leerie.notes import FalseOff, Moved
from leerie.now import DAY_MS, MINUTE_MS, SECOND_MS

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
HOME, OFFICE = DATA / "casas_hh_7d_events.csv", DATA / "uci_room_events.csv"
Rooms = dict[str, tuple[str, ...]]
OFFICE_ROOMS: Rooms = {"office": ("room_pir_a", "room_pir_b")}
HOME_ROOMS: Rooms = {
    "bathroom": ("bathroom_pir",),
    "bedroom": ("bedroom_pir", "bedroom_pir_closet"),
    "entry": ("entry_pir", "entry_door"),
    "kitchen": ("kitchen_pir",),
    "livingroom": ("livingroom_pir", "livingroom_pir_chair"),
    "workarea": ("workarea_pir",),
}
GRACE_MS, STUCK_MS = 10 * MINUTE_MS, 30 * MINUTE_MS


class Row(msgspec.Struct, frozen=True):
    at: datetime
    sensor: str
    value: str


class Tally(msgspec.Struct):
    """What a room did."""

    lit_ms: int = 0
    moves: int = 0
    false_offs: Counter[str] = msgspec.field(default_factory=Counter)
    longest_ms: int = 0
    """Longest time lit after the last evidence, or after the last sensor stopped saying present."""


def rows(path: Path, timezone: str) -> Iterator[Row]:
    if not path.exists():
        pytest.skip(f"{path.name} is absent")
    with path.open(newline="") as lines:
        for line in csv.DictReader(lines):
            at = datetime.fromisoformat(line["timestamp_iso"])
            at = at if at.tzinfo else at.replace(tzinfo=ZoneInfo(timezone))
            yield Row(at, line["sensor"].replace("/", "_"), line["value"])


def house(rooms: Rooms, timezone: str, kind: str) -> Building:
    """A room for each; its PIRs say ON and OFF, its doors OPEN and CLOSE."""
    sensors = (
        sensor(name, "door", present=["open"], absent=["close"])
        if name.endswith("door")
        else sensor(name, kind, **({"clears": "90s"} if kind == "motion" else {"stuck": "30m"}))
        for names in rooms.values()
        for name in names
    )
    return building(
        *sensors,
        *(lamp(name) for name in rooms),
        *(
            room(
                name, {part: {name: 0.8} for part in ("day", "evening", "night")}, sensors=list(names), confirm="10s",
                pass_through="2m", grace="10m", relight="60s",
            )
            for name, names in rooms.items()
        ),
        days=DAY,
        timezone=timezone,
    )  # fmt: skip


class Replay:
    """Plays a trace and checks each room at each row."""

    def __init__(self, house: Building, rooms: Rooms, first: datetime, longest_ms: int) -> None:
        self.play = Play(house, first.isoformat())
        self._room_of = {name: room for room, names in rooms.items() for name in names}
        self._longest_ms = longest_ms
        self._evidence = dict.fromkeys(rooms, self.play.now.steady)
        self._present: dict[str, bool] = {}
        self.tallies = {room: Tally() for room in rooms}

    def row(self, row: Row) -> None:
        """What the row's sensor says, and what must be true before and after it."""
        self._pass_until(row.at)
        room = self._room_of.get(row.sensor)
        if room is None:
            return
        self.play.say(row.sensor, row.value)
        came = row.value in ("ON", "OPEN")
        if came or self._present.get(row.sensor):
            self._evidence[room] = self.play.now.steady
        self._present[row.sensor] = row.value == "ON"
        if came and not row.sensor.endswith("door"):
            assert self.play.levels[room] > 0, f"{room} is dark on {row}"
            assert self.play.state(room) != "vacant", f"{room} is vacant on {row}"

    def finish(self) -> None:
        self.play.pass_("2h")
        assert {self.play.state(room) for room in self.tallies} == {"vacant"}
        for note in self.play.noted(Moved):
            self.tallies[note.room].moves += note.before != note.after
        for off in self.play.noted(FalseOff):
            self.tallies[off.room].false_offs[off.after] += 1

    def _pass_until(self, at: datetime) -> None:
        """Minute by minute, so that a room left lit is seen."""
        end = self.play.now.steady + max(0, round(at.timestamp() * 1e3) - self.play.now.wall // 1_000)
        while self.play.now.steady < end:
            step = min(MINUTE_MS, end - self.play.now.steady)
            self.play.pass_(f"{step / SECOND_MS:.3f}s")
            for name, tally in self.tallies.items():
                self._look(name, tally, step)

    def _look(self, room: str, tally: Tally, step: int) -> None:
        if self.play.levels.get(room, 0.0) > 0:
            tally.lit_ms += step
            if not self.play.view(room).present:
                silent = self.play.now.steady - self._evidence[room]
                tally.longest_ms = max(tally.longest_ms, silent)
                assert silent <= self._longest_ms, f"{room} is lit without evidence at {self.play.clock}"


def told(replay: Replay, days: float) -> None:
    print()  # noqa: T201 - the figures are what this is for
    for name, tally in replay.tallies.items():
        print(  # noqa: T201 - as above
            f"{name}: {tally.moves / days:.0f} transitions a day, lit {tally.lit_ms / DAY_MS / days:.1%} of the time, "
            f"at most {tally.longest_ms / MINUTE_MS:.1f} min without evidence, false-offs {dict(tally.false_offs)}"
        )


@pytest.mark.parametrize("kind", ["presence", "motion"])
def test_a_week_in_a_home(kind: str) -> None:
    """Each movement finds light, and no light outlasts its grace."""
    zone = "America/Los_Angeles"
    trace = list(rows(HOME, zone))
    # A sensor that never takes its ON back is believed for so long at most.
    longest = GRACE_MS + (STUCK_MS if kind == "presence" else 90 * SECOND_MS)
    replay = Replay(house(HOME_ROOMS, zone, kind), HOME_ROOMS, trace[0].at, longest)
    for row in trace:
        replay.row(row)
    replay.finish()
    told(replay, (trace[-1].at - trace[0].at).total_seconds() / 86_400)
    assert all(tally.moves > 0 for tally in replay.tallies.values())


def test_a_sampled_room_with_holes() -> None:
    """Samples are no edges and holes no absence: it must not fall, and must go dark in the long holes."""
    zone = "Europe/London"
    trace = list(rows(OFFICE, zone))
    replay = Replay(house(OFFICE_ROOMS, zone, "presence"), OFFICE_ROOMS, trace[0].at, GRACE_MS + STUCK_MS)
    for row in trace:
        replay.row(row)
    replay.finish()
    told(replay, (trace[-1].at - trace[0].at).total_seconds() / 86_400)
    assert replay.tallies["office"].moves > 0
