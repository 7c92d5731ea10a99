"""The results of a craft in one setup."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.model import Array, Choice, IndexArray, Quantity, StringArray, Text
from gramwatt.physics import pack, weighing

FULL_THROTTLE = "as in full-throttle"
MARGIN = "as in mass-margin"
AVERAGE = (
    "the law through the flights, as in power-fit; else the given average power times (mass / first setup's mass)^x "
    "with the mass exponent x; either times the ratio of hover powers with this and with the first propeller; else "
    "hover power times the hover ratio"
)
CAP = (
    "as given; else the throttle at which it has the rotor speed, thrust or thrust to weight of the other setup at its "
    "cap, as in throttle-cap"
)
DIFFERENCE = "difference from the first setup"


@dataclass(frozen=True, slots=True)
class SetupResults:
    """The craft in one setup."""

    name: Annotated[StringArray, Text("Name of the setup.", label="Setup")]
    mass: Annotated[
        Array,
        Quantity("g", "All-up mass.", label="All-up mass", method="parts, dry mass, pack, propellers, added mass"),
    ]
    mass_margin: Annotated[
        Array,
        Quantity(
            "g", "Margin below the limit.", label="Margin below the limit", signed=True, at_most=1e6, method=MARGIN
        ),
    ]
    verdict: Annotated[IndexArray, Choice(weighing.VERDICTS, "Under the limit?", label="Verdict", method=MARGIN)]
    probability_under_limit: Annotated[
        Array,
        Quantity(
            "%",
            "Probability to meet the limit.",
            label="Probability under limit",
            at_most=100,
            exact=True,
            method=MARGIN,
        ),
    ]
    nominal_energy: Annotated[
        Array, Quantity("Wh", "Label energy.", label="Label energy", method="nominal voltage times capacity")
    ]
    hover_power: Annotated[
        Array, Quantity("W", "Electrical power in hover.", label="Hover power", method=FULL_THROTTLE)
    ]
    hover_current: Annotated[
        Array, Quantity("A", "Current from the pack in hover.", label="Hover current", method=FULL_THROTTLE)
    ]
    hover_throttle: Annotated[
        Array, Quantity("%", "Throttle in hover.", label="Hover throttle", at_most=100, method=FULL_THROTTLE)
    ]
    mean_power: Annotated[Array, Quantity("W", "Average power in flight.", label="Average power", method=AVERAGE)]
    endurance: Annotated[
        Array, Quantity("min", "Flight time.", label="Flight time", method="as in endurance, at the average power")
    ]
    ended_by: Annotated[
        IndexArray, Choice(pack.ENDED_BY, "What ends the flight.", label="Flight ends by", method="as in endurance")
    ]
    thrust: Annotated[
        Array,
        Quantity("gf", "Thrust at full throttle, without a cap.", label="Full-throttle thrust", method=FULL_THROTTLE),
    ]
    thrust_to_weight: Annotated[
        Array,
        Quantity(
            "1",
            "Thrust over weight at full throttle, without a cap.",
            label="Thrust-to-weight",
            method=FULL_THROTTLE,
        ),
    ]
    pack_current: Annotated[
        Array,
        Quantity(
            "A",
            "Current from the pack at full throttle, without a cap.",
            label="Full-throttle current",
            method=FULL_THROTTLE,
        ),
    ]
    throttle_cap: Annotated[Array, Quantity("%", "Throttle cap.", label="Throttle cap", at_most=100, method=CAP)]
    capped_thrust: Annotated[
        Array, Quantity("gf", "Thrust at the throttle cap.", label="Capped thrust", method=FULL_THROTTLE)
    ]
    capped_pack_current: Annotated[
        Array,
        Quantity("A", "Current from the pack at the throttle cap.", label="Capped pack current", method=FULL_THROTTLE),
    ]
    capped_cell_voltage: Annotated[
        Array,
        Quantity("V", "Loaded cell voltage at the throttle cap.", label="Capped cell voltage", method=FULL_THROTTLE),
    ]
    c_rate: Annotated[
        Array,
        Quantity("C", "C-rate at the throttle cap.", label="C-rate", method="capped current over capacity"),
    ]
    discharge_rating_share: Annotated[
        Array,
        Quantity("%", "Share of the pack's rating.", label="C rating used", method="C-rate over discharge rating"),
    ]
    controller_rating_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of a controller's rating, at the throttle cap.",
            label="Controller rating used",
            method="motor current over controller rating",
            needs=("controller_rating",),
        ),
    ]
    mass_change: Annotated[
        Array,
        Quantity(
            "g",
            "Change of the all-up mass.",
            label="Mass change",
            at_least=-1e6,
            at_most=1e6,
            method=DIFFERENCE,
        ),
    ]
    mass_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the all-up mass, as a share.",
            label="Mass change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]
    endurance_change: Annotated[
        Array,
        Quantity("min", "Change of the flight time.", label="Flight time change", signed=True, method=DIFFERENCE),
    ]
    endurance_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the flight time, as a share.",
            label="Flight time change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]
    capped_thrust_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the capped thrust, as a share.",
            label="Thrust change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]
    capped_pack_current_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the capped current, as a share.",
            label="Current change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]


def relative_change(values: Array) -> Array:
    """Return the change (N, M) from the first setup as a share of its value."""
    return values / values[:, :1] - 1
