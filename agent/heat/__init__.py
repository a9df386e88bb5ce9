"""Sunshine on the equipment and what it does to its temperature. Pure."""
