"""Tests of the rate, and the rate of the stream itself."""
