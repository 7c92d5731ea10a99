"""Air against the standard and CIPM-2007."""

from pathlib import Path

from accuracy import atmosphere
from accuracy.page import Row, Section


def accuracy(_: Path) -> Section:
    """Return the section of this calculator."""
    return Section(
        "Air",
        (
            Row(
                "Standard atmosphere: density, temperature, pressure",
                "ISO 2533:1975, -500 to 5000 m",
                atmosphere.standard(),
            ),
            Row("Speed of sound, dry", "the same table", atmosphere.sound()),
            Row("Density of moist air", "CIPM-2007, 10 to 45 °C, 600 to 1040 hPa, any humidity", atmosphere.weather()),
            Row("The same further out", "CIPM-2007, 0 to 50 °C, up to 1100 hPa", atmosphere.extremes()),
        ),
        (
            "From elevation alone it is the standard day: weather moves density by several percent. Give temperature "
            "and pressure.",
            "Speed of sound in hot, wet air comes out 0.1 % high.",
        ),
    )
