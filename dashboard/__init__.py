"""The crew's pages. Reads the store, publishes notes; never computes what the agent has computed."""
