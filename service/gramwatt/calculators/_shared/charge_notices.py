"""What a response about a charge says: its headline in words, what to know, why there is no result, and sources."""

from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import cautions
from gramwatt.calculators._shared.charge_fields import STORAGE
from gramwatt.model import BoolArray, Caution, Reference, Rule, Sentence, Unit
from gramwatt.physics import cells, constants

ROUNDING: Final = 1e-9
"""Relative, of rates that are compared."""
USUAL_RATE: Final[Annotated[float, Unit("1/s")]] = 1 / 3600
"""1 C: what packs take whose maker does not say. Rule of thumb, no source."""
FULL_VOLTAGES: Final = f"by chemistry: {cautions.by_chemistry(cells.FULL_VOLTAGE)}"


def is_above_storage(given: Any, found: Any) -> BoolArray:
    """Return where (N,) a pack that is to be stored holds more than the storage level."""
    return np.asarray((given.charge_target == STORAGE) & (found.energy_to_discharge > 0))


CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    cautions.LITHIUM_FIRE,
    Caution(
        "check-charger-settings",
        "Check chemistry, number of cells and current on the charger before each charge, and connect the balance lead.",
    ),
    Caution(
        "over-charge-rating",
        "{peak_charge_rate} is {charge_rating_share} of the maximum charge rate of the pack: set a lower current.",
        severity="high",
        when=lambda given, found: found.charge_rating_share > 1 + ROUNDING,
    ),
    Caution(
        "no-charge-rating",
        "{peak_charge_rate} is more than 1 C: charge so only if the pack's maker allows it.",
        severity="high",
        missing=True,
        when=lambda given, found: (
            np.isnan(given.charge_rating) & (found.peak_charge_rate > USUAL_RATE * (1 + ROUNDING))
        ),
    ),
    Caution(
        "above-charge-voltage",
        "{charge_cell_voltage} per cell is more than the usual charge voltage of its chemistry: overcharged cells "
        "catch fire.",
        severity="high",
        when=lambda given, found: given.charge_cell_voltage > cells.FULL_VOLTAGE[given.chemistry] * (1 + ROUNDING),
    ),
    cautions.MORE_THAN_FULL,
    Caution(
        "deeply-discharged",
        "At {open_circuit_voltage} the rested pack is below the voltage of empty cells. Do not charge it at this "
        "current: cells that were discharged so far can be damaged. Follow the maker's advice, or dispose of the pack.",
        severity="high",
        when=lambda given, found: (
            given.open_circuit_voltage < given.cells * cells.OPEN_CIRCUIT_VOLTAGE[given.chemistry, 0]
        ),
    ),
    Caution(
        "parallel-packs",
        "Packs in parallel: only packs of the same chemistry and number of cells, in good health, whose rested "
        "voltages differ by less than 0.1 V per cell (rule of thumb, no source), since the fuller pack charges the "
        "emptier one at once. Use a board with a fuse for each pack, for main and balance leads. The charger sees one "
        "pack, so it does not notice one that is damaged.",
        severity="high",
        when=lambda given, found: given.packs_in_parallel > 1,
    ),
    Caution(
        "below-freezing",
        "Never charge below 0 °C: lithium plates out in the cells. Warm the pack first.",
        severity="high",
        when=lambda given, found: given.pack_temperature < constants.ICE_POINT,
    ),
    Caution(
        "store-half-full",
        "Do not leave packs full or empty for more than a few days. The storage level is a rule of thumb, no source: "
        "what the pack's maker says takes precedence.",
        severity="low",
    ),
    Caution(
        "balancing-not-included",
        "Balancing at the end is not included. It adds minutes, or far more if the cells have drifted apart.",
        severity="low",
    ),
    cautions.RESISTANCE_ASSUMED,
    cautions.OUTSIDE_TEMPERATURE,
    cautions.LIHV_EXTRAPOLATED,
    Caution(
        "flat-curve",
        "The rested voltage of LiFePO4 cells hardly changes between 20 and 95 %: it does not show the charge.",
        severity="low",
        when=lambda given, found: (
            (given.chemistry == cells.LIFEPO4)
            & (~np.isnan(given.open_circuit_voltage) | (given.charge_target == STORAGE))
        ),
    ),
)

CURRENTS: Final = ("peak_charge_current", "mean_charge_current", "peak_charge_rate", "charge_limited_by")
DETAILS: Final = (
    "Up to {peak_charge_current}, {peak_charge_rate}, with {constant_voltage_time} at constant voltage at the end.",
    "{charge_put_back} back in each pack, {wall_energy} from the wall.",
)
FROM_CHARGE: Final = ("charge_put_back", "state_of_charge_after", "charger_energy", "charge_rating_share")
PHASES: Final = ("charge_time", "constant_current_time", "constant_power_time", "constant_voltage_time")
SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Over the pack's maximum charge rate: {charge_rating_share} of it",
        details=("It would charge in {charge_time}.", *DETAILS),
        when=lambda given, found: found.charge_rating_share > 1 + ROUNDING,
        verdict="bad",
    ),
    Sentence(
        "Discharge it: {energy_to_discharge} too much for storage",
        details=(
            "That takes {discharge_time} at {discharge_power}.",
            "At the storage level the rested pack has {storage_voltage}, {storage_cell_voltage} per cell.",
        ),
        when=is_above_storage,
    ),
    Sentence(
        "Nothing to charge: the pack is at {state_of_charge_before} already",
        when=lambda given, found: found.charge_time == 0,
    ),
    Sentence(
        "Charges to storage in {charge_time:range}",
        details=(*DETAILS, "The rested pack then has {storage_voltage}, {storage_cell_voltage} per cell."),
        when=lambda given, found: given.charge_target == STORAGE,
    ),
    Sentence("Charges in {charge_time:range}", details=DETAILS),
)
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "nothing-to-charge",
        "The pack holds {state_of_charge_before} already: there is nothing to charge.",
        severity="low",
        when=lambda given, found: found.charge_time == 0,
        results=(*CURRENTS, "charge_rating_share"),
        partly="there is nothing to charge",
    ),
    Rule(
        "discharge-beyond-pack",
        "The pack cannot give {discharge_power} down to the storage level: discharge it at less.",
        when=lambda given, found: np.isnan(found.discharge_time) & ~np.isnan(given.discharge_power),
        results=("discharge_time",),
        partly="this pack cannot give {discharge_power} down to the storage level",
    ),
)
REFERENCES: Final[tuple[Reference, ...]] = (
    Reference(
        "Charge at constant current, constant power and constant voltage of a rested voltage behind a resistance, "
        "integrated in closed form: derived, and checked against the Thevenin model of PyBaMM 26.10",
        url="https://doi.org/10.5334/jors.309",
        about=(*PHASES, *CURRENTS, *FROM_CHARGE),
    ),
    Reference(
        "Resistance over a charge, 1.6 to 2.8 times that of a pulse of 30 s: fitted to the charge times of three "
        "published cells, Ai2020, Chen2020 and Ecker2015, in the Doyle-Fuller-Newman model of PyBaMM 26.10",
        url="https://doi.org/10.5334/jors.309",
        about=("charge_resistance", *PHASES),
    ),
    cautions.rested_voltage(
        *("storage_cell_voltage", "storage_voltage", "energy_to_discharge", "discharge_time", "charge_time"),
        *("state_of_charge_before", "state_of_charge_after", "charger_energy"),
    ),
    cautions.arrhenius("pack_resistance"),
    Reference(
        "Charge voltages by chemistry, cut-off at C/10, storage at half charge, 88 % of charger and of "
        "supply: rules of thumb, no source",
        about=("charge_time", "state_of_charge_after", "storage_cell_voltage", "wall_energy"),
    ),
    Reference("Price times energy: definition", about=("energy_cost",)),
)
