"""What to know about the masses and throttle caps of setups."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import propellers, setups
from gramwatt.model import Array, BoolArray, Caution


def _pick_propeller_mass(given: Any) -> Array:
    """Return the mass of a propeller of each setup [kg] (N, M), NaN where it is not given."""
    masses = given.propellers.mass
    if not masses.shape[1]:
        return np.full(given.packs.cells.shape, np.nan)
    rows = given.setups.propeller if setups.has_setups(given) else np.zeros(given.packs.cells.shape, dtype=np.intp)
    return np.asarray(propellers.pick(masses, np.maximum(rows, 0)))


def lacks_propeller_mass(given: Any) -> BoolArray:
    """Return where (N, M) the propellers of a setup have no mass, while those of another setup have one."""
    is_missing = np.isnan(_pick_propeller_mass(given))
    return np.asarray(is_missing & ~is_missing.all(axis=1, keepdims=True))


CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "propellers-added",
        "The mass of one propeller for each motor was added to that of the parts: leave propellers out of the parts.",
        when=lambda given, found: np.asarray((_pick_propeller_mass(given) > 0).any(axis=1)),
        severity="low",
    ),
    Caution(
        "propeller-mass-missing",
        "{by_setup.name}: the mass of the propellers counts as 0 g, while that of others was added. Give the mass of "
        "each propeller, and leave propellers out of the parts.",
        when=lambda given, found: lacks_propeller_mass(given),
        severity="high",
        missing=True,
    ),
    Caution(
        "cap-not-used",
        "{by_setup.name}: its throttle cap was not used, since its cap matches another setup.",
        when=lambda given, found: setups.find_matching(given) & setups.has_own_cap(given),
    ),
)
