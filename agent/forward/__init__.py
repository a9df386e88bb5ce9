"""What a terminal sends home to the desk, and how much of it."""
