"""A physical simulator of a day on the terminal: sky, link, heat, network and crew, repeatable from a seed.

It shares no model with the watch, so that the watch is not judged by its own assumptions.
"""
