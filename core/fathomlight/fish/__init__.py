"""fish."""
