"""The desk's store: PostgreSQL with the tables, columns and questions of the terminals' own store."""
