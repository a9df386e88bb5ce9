"""The plan on two pages of paper: one to carry, one with the budget."""
