"""Tests of tuning."""
