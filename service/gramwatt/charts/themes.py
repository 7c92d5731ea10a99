"""How a picture may look, in light and dark: its colours are told apart by lightness as much as by hue, so that they
hold for colour-blind eyes and in grey print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Theme:
    """The colours of a picture."""

    paper: str
    ink: str
    faint: str
    """Of what is said beside."""
    rule: str
    """Of lines that guide the eye."""
    figure: str
    """Of what was computed."""
    shade: str
    """Of its uncertainty."""
    mark: str
    """Of the limit, and of what was asked."""
    lines: tuple[str, ...]
    """Of several lines, as different as can be for any eyes; dashes tell them apart too."""


LIGHT: Final = Theme(
    paper="#fbfaf7",
    ink="#1d2529",
    faint="#5a6468",
    rule="#d9dbd7",
    figure="#1f5a73",
    shade="#b9cfd8",
    mark="#a3420f",
    lines=("#12384a", "#a3420f", "#8c7dda", "#387462", "#640900", "#6f40ac"),
)
DARK: Final = Theme(
    paper="#15191b",
    ink="#dfe4e3",
    faint="#a1abad",
    rule="#343b3e",
    figure="#8cc4dc",
    shade="#2d4a57",
    mark="#f0a070",
    lines=("#b5ddec", "#f0a070", "#8057c4", "#b64f30", "#0e817b", "#9499dc"),
)
THEMES: Final = {"light": LIGHT, "dark": DARK}
AUTO: Final = "auto"
"""Of SVG: light, or dark where the reader prefers that (the media feature prefers-color-scheme); PNG is light."""
SHAPES: Final = {"wide": 6.4, "narrow": 3.7}
"""Widths in inches: at the size of a page's text, and at a phone's."""
GROUNDS: Final = ("paper", "clear")
LARGEST_SCALE: Final = 4
FONT: Final = "DejaVu Sans"
"""Comes with matplotlib, so that a picture looks alike wherever it is drawn."""
FONTS: Final = f"'{FONT}', Verdana, sans-serif"
"""Of SVG, whose letters are drawn where it is shown."""
DASHES: Final = ("solid", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1.5, 2)), (0, (1, 1.5)), (0, (9, 3)))


@dataclass(frozen=True, slots=True)
class Look:
    """How a picture is wanted."""

    theme: str = "light"
    """One of `THEMES`, or `AUTO`."""
    shape: str = "wide"
    ground: str = "paper"
    """One of `GROUNDS`."""
    scale: int = 1
    """Pixels of PNG, times as many each way."""
    titled: bool = True
    """Whether title and question stand in it; on a page they stand beside it."""

    @property
    def colours(self) -> Theme:
        """The colours to draw with."""
        return THEMES.get(self.theme, LIGHT)
