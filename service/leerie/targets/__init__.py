"""State, day part and daylight become level and white for every lamp of a room, each with its reasons."""
