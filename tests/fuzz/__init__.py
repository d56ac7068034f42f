"""Fuzzing: whatever bytes come, the program takes them or refuses them, and nothing else happens."""
