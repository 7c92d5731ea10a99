"""Units against the conversion factors that NIST prints."""

from typing import Final

from accuracy.errors import Errors
from gramwatt.model import units

PRINTED: Final = {
    "lb": 0.45359237,
    "oz": 0.028349523125,
    "in": 0.0254,
    "ft": 0.3048,
    "kgf": 9.80665,
    "mph": 0.44704,
    "Wh": 3600.0,
}
"""NIST SP 811, appendix B.8, exact: SI per unit."""
OF_MASS: Final = ("lb", "oz")


def conversions() -> Errors:
    """Of every factor printed."""
    return Errors.of([units.get_unit(spelling).scale for spelling in PRINTED], list(PRINTED.values()))
