"""The pages that the crew looks at: a process of its own that reads the store and never writes it."""
