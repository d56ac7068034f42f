"""What goes to the lamps and when: newest wins, paced, refreshed, repeated after a reconnect."""
