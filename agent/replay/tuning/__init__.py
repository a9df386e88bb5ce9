"""Tuning: many threshold sets over many labelled sessions, the choice among them, a proposed rules file."""
