"""Settings that every test shares."""

from hypothesis import settings

# The same examples in every run, and no time limit for one: the machine may be shared.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")
