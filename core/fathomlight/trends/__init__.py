"""trends."""
