"""Where captions stand on a video, and how large."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_HEIGHTS: Final = ("top", "middle", "bottom")
_SIDES: Final = ("left", "center", "right")
PLACES: Final = tuple(f"{height}-{side}" for height in _HEIGHTS for side in _SIDES)
"""The nine places: ``top-left``, ``top-center``, ..., ``bottom-right``."""
WIDEST: Final = 8192
HIGHEST: Final = 4320
LARGEST_TEXT: Final = 0.25
WIDEST_SAFE: Final = 0.25
LINE_SPACING: Final = 1.2
"""From one line of text to the next, in heights of its letters' em."""
OUTLINE: Final = 0.08
"""Width of the dark line around letters, in ems: white letters stay readable on sky and snow."""


@dataclass(frozen=True, slots=True)
class Placement:
    """A video's size in pixels, where text stands on it, and two shares of that size.

    Raises ValueError where one of them is out of its limits.
    """

    width: int = 1920
    height: int = 1080
    place: str = "bottom-left"
    text_size: float = 0.05
    """Em of the text as a share of the height."""
    safe_area: float = 0.05
    """What is kept free at each edge, as a share of width and height."""

    def __post_init__(self) -> None:
        if not (1 <= self.width <= WIDEST and 1 <= self.height <= HIGHEST):
            raise ValueError(f"a video has at most {WIDEST} x {HIGHEST} pixels")
        if self.place not in PLACES:
            raise ValueError(f"no place {self.place[:40]!r}: {', '.join(PLACES)}")
        if not (0 < self.text_size <= LARGEST_TEXT and 0 <= self.safe_area <= WIDEST_SAFE):
            raise ValueError(f"text_size and safe_area are shares of at most {LARGEST_TEXT} and {WIDEST_SAFE}")

    @property
    def row(self) -> int:
        """0 at the top, 1 in the middle, 2 at the bottom."""
        return PLACES.index(self.place) // 3

    @property
    def column(self) -> int:
        """0 on the left, 1 in the centre, 2 on the right."""
        return PLACES.index(self.place) % 3

    @property
    def em(self) -> float:
        """Size of the text [px]."""
        return self.text_size * self.height

    @property
    def across(self) -> float:
        """Where lines begin, have their middle or end, by column [px from the left]."""
        return (self.safe_area, 0.5, 1 - self.safe_area)[self.column] * self.width

    def above(self, lines: int) -> float:
        """Upper edge of the first of so many lines of text, as a share of the height."""
        block = lines * LINE_SPACING * self.text_size
        return (self.safe_area, (1 - block) / 2, 1 - self.safe_area - block)[self.row]
