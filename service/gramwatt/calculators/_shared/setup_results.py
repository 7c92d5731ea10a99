"""The results of a craft in one setup."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.calculators._shared.pack_steps import current_at
from gramwatt.model import Array, Choice, IndexArray, Quantity, StringArray, Text
from gramwatt.physics import pack, weighing

MARGIN = "as in mass-margin"
LIMITED = ("by_setup.mass_margin", "by_setup.verdict", "by_setup.probability_under_limit")
THRUST = "motors * thrust_coefficient * air_density * ({} / (2 * pi))**2 * diameter**4"
HOVER_CURRENT = current_at("hover_power", "rested_pack_voltage", "pack_resistance")
ENDURANCE = (
    "capacity * (state_of_charge - end_state_of_charge) * cells * mean_loaded_voltage * voltage_ratio / mean_power"
)
CAP = (
    "as given; else the throttle at which it has the rotor speed, thrust or thrust to weight of the other setup at its "
    "cap, as in throttle-cap"
)


@dataclass(frozen=True, slots=True)
class SetupResults:
    """The craft in one setup."""

    name: Annotated[StringArray, Text("Name of the setup.", label="Setup")]
    mass: Annotated[
        Array,
        Quantity(
            "g", "All-up mass.", label="All-up mass", formula="craft_mass + pack_mass + propellers_mass + added_mass"
        ),
    ]
    mass_margin: Annotated[
        Array,
        Quantity(
            "g",
            "Margin below the limit.",
            label="Margin below the limit",
            signed=True,
            at_most=1e6,
            formula="limit_in_force - mass",
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
        Array, Quantity("Wh", "Label energy.", label="Label energy", formula="cells * nominal_cell_voltage * capacity")
    ]
    hover_power: Annotated[
        Array,
        Quantity(
            "W",
            "Electrical power in hover.",
            label="Hover power",
            formula="motors * hover_motor_current * hover_motor_voltage + avionics_power",
        ),
    ]
    hover_current: Annotated[
        Array, Quantity("A", "Current from the pack in hover.", label="Hover current", formula=HOVER_CURRENT)
    ]
    hover_throttle: Annotated[
        Array,
        Quantity(
            "%",
            "Throttle in hover.",
            label="Hover throttle",
            at_most=100,
            formula="hover_motor_voltage / (rested_pack_voltage - hover_current * pack_resistance)",
        ),
    ]
    mean_power: Annotated[
        Array,
        Quantity(
            "W",
            "Average power in flight.",
            label="Average power",
            formula=("power_at_mass * propeller_ratio", "hover_power * hover_power_ratio"),
        ),
    ]
    endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Flight time.",
            label="Flight time",
            formula=ENDURANCE,
            method="as in endurance, at the average power",
        ),
    ]
    ended_by: Annotated[
        IndexArray, Choice(pack.ENDED_BY, "What ends the flight.", label="Flight ends by", method="as in endurance")
    ]
    thrust: Annotated[
        Array,
        Quantity(
            "gf",
            "Thrust at full throttle, without a cap.",
            label="Full-throttle thrust",
            formula=THRUST.format("full_rotor_speed"),
        ),
    ]
    thrust_to_weight: Annotated[
        Array,
        Quantity(
            "1",
            "Thrust over weight at full throttle, without a cap.",
            label="Thrust-to-weight",
            formula="thrust / (mass * STANDARD_GRAVITY)",
        ),
    ]
    pack_current: Annotated[
        Array,
        Quantity(
            "A",
            "Current from the pack at full throttle, without a cap.",
            label="Full-throttle current",
            formula="motors * full_motor_current + avionics_power / full_loaded_voltage",
        ),
    ]
    throttle_cap: Annotated[Array, Quantity("%", "Throttle cap.", label="Throttle cap", at_most=100, method=CAP)]
    capped_thrust: Annotated[
        Array,
        Quantity(
            "gf", "Thrust at the throttle cap.", label="Capped thrust", formula=THRUST.format("capped_rotor_speed")
        ),
    ]
    capped_pack_current: Annotated[
        Array,
        Quantity(
            "A",
            "Current from the pack at the throttle cap.",
            label="Capped pack current",
            formula="motors * throttle_cap * capped_motor_current + avionics_power / capped_loaded_voltage",
        ),
    ]
    capped_cell_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Loaded cell voltage at the throttle cap.",
            label="Capped cell voltage",
            formula="capped_loaded_voltage / cells",
        ),
    ]
    c_rate: Annotated[
        Array,
        Quantity("C", "C-rate at the throttle cap.", label="C-rate", formula="capped_pack_current / capacity"),
    ]
    discharge_rating_share: Annotated[
        Array,
        Quantity("%", "Share of the pack's rating.", label="C rating used", formula="c_rate / discharge_rating"),
    ]
    controller_rating_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of a controller's rating, at the throttle cap.",
            label="Controller rating used",
            formula="capped_motor_current / controller_rating",
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
            formula="mass - first_mass",
        ),
    ]
    mass_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the all-up mass, as a share.",
            label="Mass change, relative",
            at_least=-100,
            formula="mass / first_mass - 1",
        ),
    ]
    endurance_change: Annotated[
        Array,
        Quantity(
            "min",
            "Change of the flight time.",
            label="Flight time change",
            signed=True,
            formula="endurance - first_endurance",
        ),
    ]
    endurance_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the flight time, as a share.",
            label="Flight time change, relative",
            at_least=-100,
            formula="endurance / first_endurance - 1",
        ),
    ]
    capped_thrust_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the capped thrust, as a share.",
            label="Thrust change, relative",
            at_least=-100,
            formula="capped_thrust / first_capped_thrust - 1",
        ),
    ]
    capped_pack_current_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the capped current, as a share.",
            label="Current change, relative",
            at_least=-100,
            formula="capped_pack_current / first_capped_current - 1",
        ),
    ]


def relative_change(values: Array) -> Array:
    """Return the change (N, M) from the first setup as a share of its value."""
    return values / values[:, :1] - 1
