"""Recorded sessions: reading, replaying, scoring and simulating them."""
