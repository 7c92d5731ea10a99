"""Times that are told as a clock tells them, as seconds."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import polars as pl

from gramwatt.declare import Array

_CLOCK: Final = (
    r"^\s*(?:(?P<date>\d{4}-\d{2}-\d{2})[T ])?"
    r"(?:(?P<hours>\d{1,2}):)?(?P<minutes>\d{1,2}):(?P<seconds>\d{2}(?:[.,]\d+)?)\s*(?P<zone>Z|[+-]\d{2}:?\d{2})?\s*$"
)
DAY: Final = 86_400.0


def clock_seconds(texts: pl.Series) -> Array:
    """Seconds of texts such as ``12:34:56.789``, ``4:56.7`` or ISO 8601 ``2026-05-01T12:34:56Z``; nan where none is.

    With dates they count from 1970-01-01. Without, from midnight: a clock that falls back by more than half a day has
    passed it, and goes on a day later.
    """
    parts = texts.str.extract_groups(_CLOCK)
    field: Any = parts.struct.field
    numbers = {
        name: field(name).str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
        for name in ("hours", "minutes", "seconds")
    }
    seconds = numbers["hours"].fill_null(0) * 3600 + numbers["minutes"] * 60 + numbers["seconds"]
    dated = field("date").str.to_date("%Y-%m-%d", strict=False).cast(pl.Int32).cast(pl.Float64) * DAY
    zone = field("zone")
    sign = pl.Series(np.where((zone.str.slice(0, 1) == "-").fill_null(False).to_numpy(), -1.0, 1.0))
    east = zone.str.slice(1, 2).cast(pl.Float64, strict=False) * 3600
    east = (east + zone.str.slice(-2).cast(pl.Float64, strict=False) * 60) * sign
    found = (seconds + dated.fill_null(0.0) - east.fill_null(0.0)).to_numpy().astype(np.float64)
    return found if dated.null_count() < len(dated) else _past_midnight(found)


def _past_midnight(seconds: Array) -> Array:
    known = np.flatnonzero(np.isfinite(seconds))
    falls = np.concatenate(([0.0], np.cumsum(np.diff(seconds[known]) < -DAY / 2))) if len(known) else np.zeros(0)
    made = seconds.copy()
    made[known] += DAY * falls
    return made
