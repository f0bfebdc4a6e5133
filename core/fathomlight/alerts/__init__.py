"""alerts."""
