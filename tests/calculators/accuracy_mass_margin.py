"""Units of mass against NIST SP 811."""

from pathlib import Path

from accuracy import masses
from accuracy.page import Row, Section


def accuracy(_: Path) -> Section:
    """Return the section of this calculator."""
    return Section(
        "Mass and units",
        (Row("Pounds, ounces, inches, feet, kgf, mph, Wh", "NIST SP 811, exact factors", masses.conversions()),),
        (
            "Sums are exact. What counts is the scale: its display is part of the uncertainty, a scale that reads "
            "wrong is not.",
        ),
    )
