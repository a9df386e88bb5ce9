"""Decides why signal is missing: one likelihood of the course for each cause, joined by the rule of Bayes."""
