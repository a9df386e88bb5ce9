"""What a page shows, found by the queries in one state of the store."""
