"""Tests of recorded sessions, replay and tuning."""
