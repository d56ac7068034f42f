"""Is the room in use, and has a person taken it over? The table, the sensors, doors, holds and asks."""
