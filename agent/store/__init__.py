"""The local store: one SQLite file, one writer, any number of read-only readers."""
