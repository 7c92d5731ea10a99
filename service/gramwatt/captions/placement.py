"""The place and the size of captions on a video."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_HEIGHTS: Final = ("top", "middle", "bottom")
_SIDES: Final = ("left", "center", "right")
PLACES: Final = tuple(f"{height}-{side}" for height in _HEIGHTS for side in _SIDES)
"""The nine places: ``top-left``, ``top-center``, ..., ``bottom-right``."""
MAX_WIDTH: Final = 8192
MAX_HEIGHT: Final = 4320
MAX_TEXT_HEIGHT_SHARE: Final = 0.25
MAX_SAFE_MARGIN_SHARE: Final = 0.25
LINE_SPACING: Final = 1.2
"""From one line of text to the next, in ems."""
OUTLINE: Final = 0.08
"""Width of the dark outline of letters, in ems: white letters stay readable on sky and snow."""


@dataclass(frozen=True, slots=True)
class Placement:
    """A video's size in pixels, the place of text on it, and two shares of that size.

    Raises
    ------
    ValueError
        A value is out of its limits.
    """

    width: int = 1920
    height: int = 1080
    place: str = "bottom-left"
    text_height_share: float = 0.05
    """Size of the text (em) as a share of the height."""
    safe_margin_share: float = 0.05
    """Empty margin at each edge, as a share of width and height."""

    def __post_init__(self) -> None:
        if not (1 <= self.width <= MAX_WIDTH and 1 <= self.height <= MAX_HEIGHT):
            raise ValueError(f"a video has at most {MAX_WIDTH} x {MAX_HEIGHT} pixels")
        if self.place not in PLACES:
            raise ValueError(f"no place {self.place[:40]!r}: {', '.join(PLACES)}")
        if not 0 < self.text_height_share <= MAX_TEXT_HEIGHT_SHARE:
            raise ValueError(f"text_height_share is above 0 and at most {MAX_TEXT_HEIGHT_SHARE}")
        if not 0 <= self.safe_margin_share <= MAX_SAFE_MARGIN_SHARE:
            raise ValueError(f"safe_margin_share is from 0 to {MAX_SAFE_MARGIN_SHARE}")

    @property
    def row(self) -> int:
        """Return 0 at the top, 1 in the middle, 2 at the bottom."""
        return PLACES.index(self.place) // 3

    @property
    def column(self) -> int:
        """Return 0 on the left, 1 in the centre, 2 on the right."""
        return PLACES.index(self.place) % 3

    @property
    def em(self) -> float:
        """Return the size of the text [px]."""
        return self.text_height_share * self.height

    @property
    def x(self) -> float:
        """Return where lines start, are centred or end, by column [px from the left]."""
        return (self.safe_margin_share, 0.5, 1 - self.safe_margin_share)[self.column] * self.width

    def top(self, lines: int) -> float:
        """Return the upper edge of the first of so many lines of text, as a share of the height."""
        block = lines * LINE_SPACING * self.text_height_share
        return (self.safe_margin_share, (1 - block) / 2, 1 - self.safe_margin_share - block)[self.row]
