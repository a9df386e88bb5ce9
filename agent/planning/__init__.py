"""The whole plan of a job: put together, computed in a process of its own, and kept beside the config."""
