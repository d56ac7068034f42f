"""How long what the daemon does again and again takes: `python -m tests.benchmark`, nothing else busy."""
