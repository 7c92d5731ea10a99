"""Media types of the formats of tables and recordings."""

from __future__ import annotations

from typing import Final

FORMATS: Final = {
    "json": "application/json",
    "ndjson": "application/x-ndjson",
    "csv": "text/csv",
    "tsv": "text/tab-separated-values",
    "arrow": "application/vnd.apache.arrow.stream",
}
"""The formats of tables and their media types."""
