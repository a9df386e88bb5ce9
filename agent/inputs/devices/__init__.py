"""Equipment that the agent reads itself: a module a type of input."""
