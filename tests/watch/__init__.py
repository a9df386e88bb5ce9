"""Tests of the alert engine."""
