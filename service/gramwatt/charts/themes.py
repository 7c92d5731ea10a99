"""Colours and sizes of charts, in light and dark.

Colours differ in lightness as much as in hue, so that colour-blind people and grey prints can tell them apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Theme:
    """The colours of a chart."""

    background: str
    text: str
    muted: str
    """Secondary text."""
    rule: str
    """Grid lines."""
    accent: str
    """Computed values."""
    band: str
    """Their uncertainty."""
    highlight: str
    """The limit, and the result for these inputs."""
    good: str
    """The verdicts, in the colours that pages have for them."""
    close: str
    bad: str
    lines: tuple[str, ...]
    """Several lines in one panel. Dashes tell them apart too."""


LIGHT: Final = Theme(
    background="#fbfaf7",
    text="#20211f",
    muted="#5f615b",
    rule="#d9d7cf",
    accent="#1f5a73",
    band="#b9cfd8",
    highlight="#a3420f",
    good="#1d6b3a",
    close="#7a5200",
    bad="#a3271b",
    lines=("#12384a", "#a3420f", "#8c7dda", "#387462", "#640900", "#6f40ac"),
)
DARK: Final = Theme(
    background="#15191b",
    text="#e8e6df",
    muted="#a8a9a1",
    rule="#383935",
    accent="#8cc4dc",
    band="#2d4a57",
    highlight="#f0a070",
    good="#7cc796",
    close="#e0b45c",
    bad="#f29384",
    lines=("#b5ddec", "#f0a070", "#8057c4", "#b64f30", "#0e817b", "#9499dc"),
)
THEMES: Final = {"light": LIGHT, "dark": DARK}
AUTO: Final = "auto"
"""SVG: light, or dark where the reader prefers it (media feature prefers-color-scheme). PNG: light."""
SHAPES: Final = {"wide": 6.4, "narrow": 3.7}
"""Widths in inches: for a page, and for a phone."""
GROUNDS: Final = ("paper", "clear")
MAX_SCALE: Final = 4
FONT: Final = "DejaVu Sans"
"""Comes with matplotlib, so that a chart looks the same wherever it is drawn."""
TITLE_FONT: Final = "DejaVu Serif"
FONT_FAMILY: Final = f"system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, '{FONT}', sans-serif"
"""For SVG, whose text is drawn where it is shown, in the fonts of the pages. None of them is wider than `FONT`."""
TITLE_FAMILY: Final = (
    f"'Iowan Old Style', 'Palatino Linotype', Palatino, 'Book Antiqua', Georgia, '{TITLE_FONT}', serif"
)
DASHES: Final = ("solid", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1.5, 2)), (0, (1, 1.5)), (0, (9, 3)))


@dataclass(frozen=True, slots=True)
class ChartStyle:
    """How to draw a chart."""

    theme: str = "light"
    """One of `THEMES`, or `AUTO`."""
    shape: str = "wide"
    """One of `SHAPES`."""
    ground: str = "paper"
    """One of `GROUNDS`: an opaque or a transparent background."""
    scale: int = 1
    """PNG: factor on the number of pixels each way."""
    titled: bool = True
    """Whether title and inputs are drawn. On a page they are next to the chart."""

    @property
    def colours(self) -> Theme:
        """Return the colours to draw with."""
        return THEMES.get(self.theme, LIGHT)
