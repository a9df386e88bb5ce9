"""Whether hosts answer, and after how long."""
