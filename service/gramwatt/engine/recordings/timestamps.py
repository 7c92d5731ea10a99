"""Convert times of a clock to seconds."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from typing import Final

import numpy as np

from gramwatt.model import Array

_CLOCK: Final = re.compile(
    r"\s*+(?:(?P<date>\d{4}([-/])\d{1,2}\2\d{1,2}|\d{1,2}\.\d{1,2}\.\d{4})(?:T|,?[ ]))?"
    r"(?P<first>\d{1,2}):(?P<second>\d{2}(?:[.,]\d++)?)(?::(?P<third>\d{2}(?:[.,]\d++)?))?"
    r"\s*+(?:(?P<half>[AP])\.?M\.?\s*+)?(?:(?P<zone>Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)\s*+)?",
    re.ASCII | re.IGNORECASE,
)
ACCEPTED_TIMES: Final = (
    "numbers, in s or in the unit in the header, such as time [ms]; 4:56.7 (minutes and seconds), 14:30:00.5, "
    "2:30:00 PM, 2026-05-03 14:30:00, 2026-05-03T12:34:56Z, 2026/05/03 14:30 or 03.05.2026 14:30:00 (day first)"
)
DAY: Final = 86_400.0
_SPACES: Final = str.maketrans("\u00a0\u202f", "  ")
"""Spaces that do not break a line, which many programs write before AM and PM."""
_EPOCH: Final = datetime.date(1970, 1, 1).toordinal()


def parse_clock_times(texts: Sequence[str | None]) -> Array:
    """Return the seconds of texts such as ``12:34:56.789``, ``4:56.7`` or ``2026-05-01T12:34:56Z``, else nan.

    Two numbers are minutes and seconds; with a date, AM or PM they are hours and minutes. With dates seconds count from
    1970-01-01, without dates from midnight. A clock that falls back by more than half a day has passed midnight.
    """
    matches = [None if text is None else _CLOCK.fullmatch(text.translate(_SPACES)) for text in texts]
    seconds = np.array([np.nan if match is None else _since_midnight(match) + _count_days(match) for match in matches])
    dated = any(match is not None and match["date"] for match in matches)
    return seconds if dated else _past_midnight(seconds)


def _since_midnight(match: re.Match[str]) -> float:
    """Return the seconds since midnight UTC, nan if there is no such time."""
    hours, minutes, seconds = _get_parts(match)
    if match["half"] is not None:
        if not 1 <= hours <= 12:
            return np.nan
        hours = hours % 12 + (12 if match["half"] in "pP" else 0)
    elapsed = hours * 3600 + minutes * 60 + seconds
    zone = match["zone"]
    if zone is None or zone[0] not in "+-":
        return elapsed
    east = int(zone[1:3]) * 3600 + int(zone[3:].lstrip(":") or 0) * 60
    return elapsed + east if zone[0] == "-" else elapsed - east


def _get_parts(match: re.Match[str]) -> tuple[int, int, float]:
    """Return hours, minutes and seconds, nan for seconds where a part but the last has a fraction."""
    first, second, third = match["first"], match["second"], match["third"]
    last = float((third or second).replace(",", "."))
    if third is None and match["date"] is None and match["half"] is None:
        return 0, int(first), last
    if not second.isdigit():
        return 0, 0, np.nan
    return int(first), int(second), 0.0 if third is None else last


def _count_days(match: re.Match[str]) -> float:
    """Return the seconds from 1970-01-01 to the date, 0 without a date, nan if there is no such date."""
    date = match["date"]
    if date is None:
        return 0.0
    day, month, year = date.split(".") if "." in date else reversed(date.replace("/", "-").split("-"))
    try:
        return DAY * (datetime.date(int(year), int(month), int(day)).toordinal() - _EPOCH)
    except ValueError:
        return np.nan


def _past_midnight(seconds: Array) -> Array:
    known = np.flatnonzero(np.isfinite(seconds))
    falls = np.concatenate(([0.0], np.cumsum(np.diff(seconds[known]) < -DAY / 2))) if len(known) else np.zeros(0)
    shifted = seconds.copy()
    shifted[known] += DAY * falls
    return shifted
