"""The dashboard page by page."""
