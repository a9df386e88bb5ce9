"""The desk: workers that take what the terminals forward into the desk's store."""
