"""The daemon is killed again and again, at random moments of the test's own, and must come back as if it had not been."""
