"""Who may look, and what every request passes."""
