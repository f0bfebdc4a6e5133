"""indices."""
