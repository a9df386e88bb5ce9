"""Where readings come from: MQTT, the embedded broker, and the parsers of what arrives."""
