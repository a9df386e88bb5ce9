"""The agent's own MQTT broker, for terminals that have none. Sections are MQTT 3.1.1's (OASIS, 2014)."""
