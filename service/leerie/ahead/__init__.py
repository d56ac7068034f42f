"""What lies ahead: the days of each room as they will be, and what about the coming year is legal but suspicious."""

from leerie.ahead.stretches import Stretch
from leerie.ahead.suspicions import suspicions
from leerie.ahead.year import Year

__all__ = ["Stretch", "Year", "suspicions"]
