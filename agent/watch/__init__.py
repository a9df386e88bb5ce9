"""The alert engine: from readings to causes, rules and events. Pure."""
