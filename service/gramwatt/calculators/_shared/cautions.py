"""Cautions, rules, assumptions and references that several calculators share."""

from typing import Annotated, Any, Final

import numpy as np

from gramwatt.model import Array, Assumption, BoolArray, Caution, Reference, Rule, Unit
from gramwatt.physics import cells, constants, pack

FULL_VOLTAGE_TOLERANCE: Final = 1.02
"""For the error of a voltmeter and of a charger."""

COLD_TEMPERATURE: Final[Annotated[float, Unit("K")]] = constants.ICE_POINT + 10
"""10 °C: below it cells give less of their charge. Rule of thumb, no source."""
STORAGE_VOLTAGE: Final[Annotated[Array, Unit("V")]] = np.array([3.8, 3.85, 3.7, 3.3])
"""Rested cell voltage for storage by chemistry. Rule of thumb, no source."""


def by_chemistry(voltages: Array) -> str:
    """Return the voltages of all chemistries as text."""
    return ", ".join(f"{name} {volts:g} V" for name, volts in zip(cells.CHEMISTRIES, voltages, strict=True))


NOMINAL_VOLTAGES: Final = by_chemistry(cells.NOMINAL_VOLTAGE)
CUTOFF_VOLTAGES: Final = by_chemistry(cells.CUTOFF_VOLTAGE)

LITHIUM_FIRE: Final[Caution[Any, Any]] = Caution(
    "lithium-fire",
    "Lithium packs can burn. Never leave a charging pack alone; use a fireproof surface and the right voltage. Dispose "
    "of packs that are swollen, dented or hot. The pack maker's figures take precedence over these.",
    severity="high",
)
LAND_EARLY: Final[Caution[Any, Any]] = Caution(
    "land-early",
    "A calculated time is not a promise. Land by the voltage and charge that you measure in flight: wind, cold, age "
    "and hard flying all shorten it.",
)
PROPELLERS_OFF: Final[Caution[Any, Any]] = Caution(
    "propellers-off",
    "Remove the propellers before any test on the bench. Set the cap and check that it works before you put them back.",
    severity="high",
)
CHECK_AUTHORITY: Final[Caution[Any, Any]] = Caution(
    "check-authority",
    "Rules differ between countries and change, and a mass limit is only one condition among several. Check with your "
    "aviation authority before you fly.",
)
RESISTANCE_ASSUMED: Final[Caution[Any, Any]] = Caution(
    "resistance-assumed",
    "Cell resistance, with the pack's own leads, is an estimate from the capacity that is known to a factor of "
    f"{cells.RESISTANCE_FACTOR:g} only. Measure it, or give the pack resistance that flight-log finds in a recording.",
    assumed="cell_resistance",
)
MORE_THAN_FULL: Final[Caution[Any, Any]] = Caution(
    "voltage-above-full",
    "{open_circuit_voltage} is more than the voltage of such a pack when full: check cells, chemistry and the reading.",
    severity="high",
    when=lambda given, found: (
        given.open_circuit_voltage > FULL_VOLTAGE_TOLERANCE * given.cells * cells.FULL_VOLTAGE[given.chemistry]
    ),
)


def is_temperature_unchecked(pack_resistance: Array, temperature: Array) -> BoolArray:
    """Return where the change of resistance with temperature was not checked; a measured resistance stays as it is."""
    is_outside = (temperature < cells.MIN_CHECKED_TEMPERATURE) | (temperature > cells.MAX_CHECKED_TEMPERATURE)
    return np.asarray(np.isnan(pack_resistance) & is_outside)


OUTSIDE_TEMPERATURE: Final[Caution[Any, Any]] = Caution(
    "outside-temperature",
    "{pack_temperature} is outside 0 to 40 °C, for which the change of resistance was checked.",
    when=lambda given, found: is_temperature_unchecked(given.pack_resistance, given.pack_temperature),
)
LIHV_EXTRAPOLATED: Final[Caution[Any, Any]] = Caution(
    "lihv-extrapolated",
    "The rested voltage of LiHV cells is extrapolated from that of a LiPo cell, not measured.",
    severity="low",
    when=lambda given, found: given.chemistry == cells.LIHV,
)


LIFEPO4_TAIL: Final = "Below 20 % the voltage of LiFePO4 cells is up to 0.2 V per cell too low."
BELOW_CUTOFF: Final[Caution[Any, Any]] = Caution(
    "below-cutoff",
    "At {loaded_cell_voltage} per cell the pack is below the usual cut-off of its chemistry. Cells wear if such a load "
    "lasts; a dip of a second does little to a full pack.",
    when=lambda given, found: found.loaded_cell_voltage < cells.CUTOFF_VOLTAGE[given.chemistry],
)
COLD: Final[Caution[Any, Any]] = Caution(
    "cold-charge",
    "At {pack_temperature} a pack also gives less of its charge. That is not modelled: expect a shorter time than the "
    "range says, and warm the pack before the flight.",
    when=lambda given, found: given.pack_temperature < COLD_TEMPERATURE,
)
RATING_OVERSTATED: Final[Caution[Any, Any]] = Caution(
    "discharge-rating-overstated",
    "The rating on a label often overstates the current that a pack can give for long: watch its sag and temperature.",
    severity="low",
    when=lambda given, found: ~np.isnan(given.discharge_rating),
)
CHARGE_AND_STORE: Final[Caution[Any, Any]] = Caution(
    "charge-and-store",
    "Never charge below 0 °C, nor faster than the pack maker allows (1 C if you do not know). Store packs about half "
    "full, at a rested cell voltage of " + by_chemistry(STORAGE_VOLTAGE) + ": rule of thumb, no source.",
)
OVER_RATING: Final[Caution[Any, Any]] = Caution(
    "over-discharge-rating",
    "The load is {discharge_rating_share} of the pack's continuous rating.",
    severity="high",
    when=lambda given, found: found.discharge_rating_share > 1,
)
NO_RESISTANCE: Final[Rule[Any, Any]] = Rule(
    "no-resistance",
    "Without resistance there is no maximum power. Give the cell resistance, or the resistance of the pack.",
    severity="low",
    missing=True,
    when=lambda given, found: found.pack_resistance == 0,
    results=("maximum_pack_power",),
)
RESISTANCE_TEXT: Final = "15 mΩ Ah divided by the capacity, leads included: rule of thumb, no source"


def typical_resistance(row: Any) -> Array:
    """Return the typical cell resistance of packs [ohm], nan where the resistance of the whole pack is given."""
    return np.where(np.isnan(row.pack_resistance), cells.typical_resistance(row.capacity), np.nan)


TYPICAL_RESISTANCE: Final[Assumption[Any]] = Assumption(
    "cell_resistance",
    RESISTANCE_TEXT,
    typical_resistance,
    factor=cells.RESISTANCE_FACTOR,
    formula="RESISTANCE_TIMES_CHARGE / capacity",
)
NOMINAL_CELL_VOLTAGE: Final[Assumption[Any]] = Assumption(
    "cell_voltage",
    f"nominal, by chemistry: {NOMINAL_VOLTAGES}",
    lambda given: cells.NOMINAL_VOLTAGE[given.chemistry],
)


def pack_resistance(row: Any, temperature: Array, activation_energy: Array) -> Array:
    """Return the resistance [ohm] of packs with their leads: as measured, else from that of the cells."""
    from_cells = pack.resistance(row.cells, row.cell_resistance, row.lead_resistance, temperature, activation_energy)
    return np.where(np.isnan(row.pack_resistance), from_cells, row.pack_resistance)


def pack_voltage(given: Any) -> Array:
    """Return the rested voltage (N,) [V] of the pack: as measured, else by its state of charge."""
    by_charge = given.cells * cells.open_circuit_voltage(given.chemistry, given.state_of_charge)
    return np.asarray(np.where(np.isnan(given.open_circuit_voltage), by_charge, given.open_circuit_voltage))


def rested_voltage(*about: str) -> Reference:
    """Return the source of the open-circuit curves."""
    return Reference(
        "Rested voltage against charge: PyBaMM 26.10 at C/50 with Ai2020 (LiPo), Chen2020 (Li-ion), Prada2013 "
        "(LiFePO4); LiHV extrapolated from Ai2020",
        url="https://doi.org/10.5334/jors.309",
        about=about,
    )


def arrhenius(*about: str) -> Reference:
    """Return the source of the change of resistance with temperature."""
    return Reference(
        "Arrhenius equation for resistance; 4 to 34 kJ/mol over four published cells, PyBaMM 26.10, 10 s pulses at 1 C",
        url="https://doi.org/10.5334/jors.309",
        about=about,
    )
