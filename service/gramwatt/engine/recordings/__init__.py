"""Read recordings of flights from CSV, NDJSON, Arrow or JSON, and count what cannot be read."""
