"""One pack of a build: what is asked of it, and the craft with it."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.calculators._shared import fields
from gramwatt.model import Array, Choice, IndexArray, Quantity, StandardUncertainty, StringArray, Text
from gramwatt.physics import pack, weighing


@dataclass(frozen=True, slots=True)
class Pack:
    """One pack to try."""

    name: Annotated[StringArray, Text("What to call it.", default="pack")]
    cells: fields.Cells
    capacity: fields.Capacity
    mass: Annotated[Array, Quantity("g", "Mass of the pack with leads and connector.", above=0, at_most=1e5)]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]
    chemistry: fields.Chemistry
    cell_resistance: fields.CellResistance
    lead_resistance: fields.LeadResistance
    discharge_rating: fields.DischargeRating


AS_FULL = "as in full-throttle"
AVERAGE = (
    "the law through the flights, as in power-fit; else average_power times (mass / first pack's mass)^mass_exponent; "
    "else hover_power times hover_ratio"
)
CAP = "throttle at which this pack turns the propellers as match_pack does at full throttle; at most 100 %"
AGAINST = "against the first pack"


@dataclass(frozen=True, slots=True)
class PackAnswer:
    """The craft with one pack."""

    name: Annotated[StringArray, Text("The pack.")]
    mass: Annotated[Array, Quantity("g", "All-up mass.", method="parts, dry_mass and pack")]
    margin: Annotated[Array, Quantity("g", "Left below the limit.", method="as in mass-margin")]
    verdict: Annotated[IndexArray, Choice(weighing.VERDICTS, "Under the limit?", method="as in mass-margin")]
    probability_under: Annotated[Array, Quantity("%", "Probability to be under.", method="as in mass-margin")]
    nominal_energy: Annotated[Array, Quantity("Wh", "Label energy.", method="nominal voltage times capacity")]
    hover_power: Annotated[Array, Quantity("W", "Electrical power to hover.", method=AS_FULL)]
    hover_throttle: Annotated[Array, Quantity("%", "Throttle that hovers.", method=AS_FULL)]
    average_power: Annotated[Array, Quantity("W", "Average power in flight.", method=AVERAGE)]
    endurance: Annotated[Array, Quantity("min", "Time in flight.", method="as in endurance, at average_power")]
    ended_by: Annotated[IndexArray, Choice(pack.ENDED_BY, "What ends it.", method="as in endurance")]
    thrust: Annotated[Array, Quantity("gf", "At full throttle, no cap.", method=AS_FULL)]
    thrust_to_weight: Annotated[Array, Quantity("1", "At full throttle, no cap.", method=AS_FULL)]
    current: Annotated[Array, Quantity("A", "From the pack at full throttle, no cap.", method=AS_FULL)]
    capped_thrust: Annotated[Array, Quantity("gf", "At throttle_cap.", method=AS_FULL)]
    capped_current: Annotated[Array, Quantity("A", "From the pack at throttle_cap.", method=AS_FULL)]
    capped_cell_voltage: Annotated[Array, Quantity("V", "Loaded cell voltage at throttle_cap.", method=AS_FULL)]
    suggested_cap: Annotated[Array, Quantity("%", "Cap that matches match_pack.", method=CAP)]
    c_rate: Annotated[Array, Quantity("C", "At throttle_cap.", method="capped_current over capacity")]
    rating_used: Annotated[Array, Quantity("%", "Of the pack's rating.", method="c_rate over discharge_rating")]
    controller_used: Annotated[
        Array,
        Quantity(
            "%",
            "Of a controller's rating, at throttle_cap.",
            method="motor current over it",
            needs=("controller_rating",),
        ),
    ]
    mass_change: Annotated[Array, Quantity("g", "All-up mass more.", method=AGAINST)]
    mass_change_share: Annotated[Array, Quantity("%", "The same as a share.", method=AGAINST)]
    endurance_change: Annotated[Array, Quantity("min", "Time more.", method=AGAINST)]
    endurance_change_share: Annotated[Array, Quantity("%", "The same as a share.", method=AGAINST)]
    thrust_change_share: Annotated[Array, Quantity("%", "Capped thrust more, as a share.", method=AGAINST)]
    current_change_share: Annotated[Array, Quantity("%", "Capped current more, as a share.", method=AGAINST)]
