"""The live agent: broker in, store and engine, alerts out."""
