"""Does again what a journal tells, with the controller that did it."""

from collections.abc import Iterable, Iterator

import msgspec
from msgspec.structs import replace

from leerie.config.building import Building
from leerie.controller import Controller
from leerie.daylight.outdoors import Skies
from leerie.journal import JournalError, Step, Stretch, digest
from leerie.messages import AT_ONCE, Message, Outcome
from leerie.now import Now
from leerie.parting import Partings


class Played(msgspec.Struct, frozen=True):
    """One entry, done again."""

    entry: Stretch | Step
    outcome: Outcome
    exact: bool
    """What is commanded here is surely what was commanded then. After a beginning from records in the midst of a run it
    is, too, but for what no record has: commands in flight, repeats after a connection that had just come about.
    """
    apart: tuple[str, ...] = ()
    """With a stretch that is played through: rooms whose record is not the one written then."""


def replay(entries: Iterable[Stretch | Step], *buildings: Building) -> Iterator[Played]:
    """Play entries in order, from a stretch's beginning on. A gap is not played over: after one it begins anew from the
    records that stand behind it.

    `buildings`: the configs of the time. Raises JournalError for a stretch of any other.
    """
    known = {digest(building): building for building in buildings}
    player: _Player | None = None
    for entry in entries:
        if isinstance(entry, Step):
            if player is None:
                raise JournalError("a replay begins with a stretch")
            yield player.play(entry)
        elif player is None or entry.why in ("start", "reload", "gap"):
            if entry.config not in known:
                raise JournalError(f"from {entry.day} on the journal tells of another config")
            before, player = player, _Player(entry, known[entry.config])
            yield player.begin(entry, before if entry.why == "reload" else None)
        else:
            yield player.pass_through(entry)


class _Resumed(Controller):
    """A controller that begins where another one was in the midst of its run."""

    def __init__(self, building: Building, stretch: Stretch) -> None:
        super().__init__(building, stretch.memory, stretch.boot, clock_known=stretch.known.clock)
        self._skies = Skies(building, stretch.known.outdoors)

    def resume(self, stretch: Stretch) -> None:
        """Be where the run was."""
        self.linked(stretch.now)
        if stretch.known.online:
            self._online = True
            for room in self._rooms.values():
                room.resumed(stretch.now, stretch.known.advanced, self._skies)
            self._requeue(self._rooms)


class _Player:
    """One run of a controller."""

    def __init__(self, stretch: Stretch, building: Building) -> None:
        self._exact = stretch.why in ("start", "reload")
        self._building = building
        self._online = stretch.known.online
        self._controller = _Resumed(building, stretch)
        self._partings = Partings()

    def begin(self, stretch: Stretch, before: "_Player | None") -> Played:
        """`before`: who hands over in a reload. A new controller's first steps tell how it went on."""
        if not self._exact:
            self._controller.resume(stretch)
        if before is None:
            return Played(stretch, Outcome(), self._exact)
        self._online, self._partings = before._online, before._partings  # a reload leaves the connection as it is
        self._partings.part(before._building, self._building, stretch.memory)
        told = self._partings.say() if before._online else ()
        return Played(stretch, Outcome(told), self._exact)

    def play(self, step: Step) -> Played:
        outcome = self._call(step)
        if not self._exact:
            self._take(outcome, step.now)
        return Played(step, outcome, self._exact)

    def pass_through(self, stretch: Stretch) -> Played:
        """The run goes on. The records written then are those that it has now, or something has gone apart."""
        records = self._controller.handover(stretch.now) if self._exact else stretch.memory
        apart = tuple(room for room, body in stretch.memory.items() if records.get(room) != body)
        return Played(stretch, Outcome(), self._exact, apart)

    def _call(self, step: Step) -> Outcome:
        controller, now = self._controller, step.now
        match step:
            case Step("linked"):
                controller.linked(now)
            case Step("settled"):
                self._online = True
                outcome = controller.settled(now, AT_ONCE if step.number is None else step.number)
                return replace(outcome, commands=(*self._partings.say(), *outcome.commands))
            case Step("lost"):
                self._online = False
                controller.lost(now)
            case Step("receive", _, Message() as message):
                return controller.receive(message, now)
            case Step("advance"):
                return controller.advance(now)
            case Step("clock_known"):
                return controller.clock_known(now)
            case Step("farewell"):
                return controller.farewell(now)
            case Step("taken" | "refused", _, _, int() as ticket) if self._exact:
                controller.acknowledged(ticket, step.call == "taken", now)
            case _:
                pass  # the acknowledgement of a command that has another number here
        return Outcome()

    def _take(self, outcome: Outcome, now: Now) -> None:
        """Commands are numbered otherwise than they were, and some are new: take each at once."""
        for publish in outcome.commands:
            self._controller.acknowledged(publish.ticket, True, now)
