"""Convert times of a clock to seconds."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from typing import Final

import numpy as np

from gramwatt.model import Array

_CLOCK: Final = re.compile(
    r"\s*+(?:(?P<date>\d{4}-\d{2}-\d{2})[T ])?"
    r"(?:(?P<hours>\d{1,2}):)?(?P<minutes>\d{1,2}):(?P<seconds>\d{2}(?:[.,]\d++)?)"
    r"\s*+(?:(?P<zone>Z|[+-]\d{2}:?\d{2})\s*+)?",
    re.ASCII,
)
DAY: Final = 86_400.0
_EPOCH: Final = datetime.date(1970, 1, 1).toordinal()


def parse_clock_times(texts: Sequence[str | None]) -> Array:
    """Return the seconds of texts such as ``12:34:56.789``, ``4:56.7`` or ISO 8601 ``2026-05-01T12:34:56Z``, else nan.

    With dates they count from 1970-01-01, without dates from midnight. A clock that falls back by more than half a day
    has passed midnight.
    """
    matches = [None if text is None else _CLOCK.fullmatch(text) for text in texts]
    days = [None if match is None else _day(match["date"]) for match in matches]
    seconds = np.array(
        [
            np.nan if match is None else _since_midnight(match) + (day or 0) * DAY
            for match, day in zip(matches, days, strict=True)
        ]
    )
    return seconds if any(day is not None for day in days) else _past_midnight(seconds)


def _since_midnight(match: re.Match[str]) -> float:
    """Return the seconds since midnight UTC."""
    seconds = int(match["hours"] or 0) * 3600 + int(match["minutes"]) * 60 + float(match["seconds"].replace(",", "."))
    zone = match["zone"]
    if zone is None or zone == "Z":
        return seconds
    east = int(zone[1:3]) * 3600 + int(zone[-2:]) * 60
    return seconds + east if zone[0] == "-" else seconds - east


def _day(date: str | None) -> int | None:
    """Return the days since 1970-01-01, or None for an invalid date."""
    try:
        return None if date is None else datetime.date.fromisoformat(date).toordinal() - _EPOCH
    except ValueError:
        return None


def _past_midnight(seconds: Array) -> Array:
    known = np.flatnonzero(np.isfinite(seconds))
    falls = np.concatenate(([0.0], np.cumsum(np.diff(seconds[known]) < -DAY / 2))) if len(known) else np.zeros(0)
    shifted = seconds.copy()
    shifted[known] += DAY * falls
    return shifted
