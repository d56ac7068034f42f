"""The daemon is killed again and again, at random moments, and must come back as if it had not been."""
