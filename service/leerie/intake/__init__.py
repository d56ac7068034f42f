"""Topic and bytes become an event or a value, or a refusal with its reason."""
