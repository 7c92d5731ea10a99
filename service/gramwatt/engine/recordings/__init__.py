"""Recordings of flights: from CSV, NDJSON, Arrow or JSON to channels of numbers, with what was left out counted."""
