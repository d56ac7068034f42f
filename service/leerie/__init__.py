"""leerie lights the rooms of a small building over MQTT when somebody is there, and darkens them afterwards."""

__version__ = "0.1.0"
