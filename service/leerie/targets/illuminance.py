"""What lamps bring to the task plane, by the lumen method."""

from collections.abc import Iterable

from leerie.config.building import Fixture, Room


def full(fixture: Fixture, room: Room) -> float | None:
    """Maintained average illuminance on the task plane (lx) of one lamp at high-end trim; None where lumens or area are
    not known.

    E = F · UF · MF / A, lumens × utilisation × maintenance / area (SLL Code for Lighting; CIE 97 for maintenance; both
    from memory).
    """
    if fixture.lumens is None or room.area is None:
        return None
    utilisation = room.utilisation if fixture.utilisation is None else fixture.utilisation
    return fixture.lumens * utilisation * room.maintenance / room.area


def output(fixture: Fixture, level: float) -> float:
    """Share of its light at high-end trim that a level 0…1 asks for, 0…1: level² (IES square law); a switched lamp
    burns at full. Where low-end trim cuts a logarithmic or a measured curve, the lamp gives more than it was asked for.
    """
    if fixture.kind == "switched":
        return 1.0 if level > 0 else 0.0
    return level * level


def together(room: Room, lamps: Iterable[tuple[Fixture, float]]) -> float:
    """What these lamps bring at these levels, lx; those whose lumens are not known count for nothing."""
    return sum((full(fixture, room) or 0.0) * output(fixture, level) for fixture, level in lamps)
