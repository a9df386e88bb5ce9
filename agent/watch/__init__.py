"""Decides what is the matter and what to say of it: from readings to causes, rules and events. Pure."""
