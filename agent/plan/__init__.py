"""What can be computed before the crew leaves: pointing, link budget, sun passes, safety. Pure."""
