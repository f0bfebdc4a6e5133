"""One file per page."""
