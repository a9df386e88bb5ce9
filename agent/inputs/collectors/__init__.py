"""Inputs that the agent reads by itself: tasks that fetch from equipment and publish like any source."""
