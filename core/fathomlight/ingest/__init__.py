"""ingest."""
