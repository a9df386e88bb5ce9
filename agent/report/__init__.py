"""After-action review of recorded and stored days: computing, tables, page and PDF."""
