"""Steps from the masses of parts to their sum and its uncertainty, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from gramwatt.calculators._shared import parts
from gramwatt.model import Array, Quantity
from gramwatt.physics import statistics, weighing


@dataclass(frozen=True, slots=True)
class Steps:
    """The limit, and what makes the sum uncertain."""

    limit_in_force: Annotated[Array, Quantity("g", "Limit.", method="of the rule if one is chosen, else as given")]
    reading_uncertainty: Annotated[
        Array,
        Quantity("g", "Standard uncertainty of one reading of the scale.", formula="scale_resolution / sqrt(12)"),
    ]
    squared_readings: Annotated[
        Array,
        Quantity(
            "1",
            "Sum of the squares of what each reading is multiplied by.",
            method="of the counts of the parts, and 1 for each mass by itself; 1 where all were weighed together",
        ),
    ]
    stated_uncertainty: Annotated[
        Array,
        Quantity(
            "g", "Standard uncertainty by the stated ±.", method="root of the sum of the squares of ± times count"
        ),
    ]
    margin_in_uncertainties: Annotated[
        Array,
        Quantity(
            "1",
            "Margin in standard uncertainties of the total.",
            signed=True,
            formula="2 * mass_margin / expanded_mass_uncertainty",
        ),
    ]


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps of the sum of all masses."""
    together = given.weighing_method == parts.WEIGHING_METHODS.index("together")
    multiples = np.concatenate([given.parts.count, np.ones_like(given.masses)], axis=1)
    stated = np.concatenate([given.parts.mass_u, given.masses_u], axis=1)
    return Steps(
        limit_in_force=weighing.limit_in_force(given.rule, given.mass_limit, given.limit_comparison)[0],
        reading_uncertainty=statistics.reading_uncertainty(given.scale_resolution),
        squared_readings=np.where(together, 1.0, (multiples**2).sum(axis=1)),
        stated_uncertainty=np.sqrt(parts.stated_variance(multiples, stated)),
        margin_in_uncertainties=2 * found.mass_margin / found.expanded_mass_uncertainty,
    )
