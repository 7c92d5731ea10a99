"""That a calculator, an input or a result will go."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Deprecation:
    """Since when something is deprecated, and what to use instead: a sentence, "Use pack power."."""

    since: date
    instead: str
    _: KW_ONLY
    until: date | None = None
    """The day on which it is removed, if that is decided."""
