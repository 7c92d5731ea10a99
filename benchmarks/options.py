"""How long and how large a run is."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line chooses."""

    folder: Path
    rounds: int = 5
    seconds: float = 1.0
    example_rounds: int = 3
    example_seconds: float = 0.35
    page_rounds: int = 3
    page_seconds: float = 0.3
    chart_seconds: float = 1.5
    table_rounds: int = 4
    rows: int = 1_000_000
    sizes: tuple[int, ...] = (1_000, 100_000, 1_000_000)
    beside_rounds: int = 3
    beside_seconds: float = 3.0
    memory_rows: int = 2_000_000
    starts: int = 3
    even: bool = True
    """Whether connections are spread evenly over the workers before each round."""


def quick(folder: Path) -> Options:
    """Return a run of about a minute."""
    return Options(
        folder,
        rounds=2,
        seconds=0.3,
        example_rounds=1,
        example_seconds=0.2,
        page_rounds=1,
        page_seconds=0.2,
        chart_seconds=0.5,
        table_rounds=2,
        rows=200_000,
        sizes=(1_000, 200_000),
        beside_rounds=1,
        beside_seconds=2.0,
        memory_rows=400_000,
        starts=1,
    )
