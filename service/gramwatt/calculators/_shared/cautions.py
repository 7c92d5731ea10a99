"""What several calculators say alike: usual cautions, defaults that depend on the pack, references."""

from typing import Any, Final

from gramwatt.model import Assumption, Caution, Reference, Rule
from gramwatt.physics import cells

MEASURED_FULL: Final = 1.02  # a voltmeter's error and a charger's allowed

LITHIUM_FIRE: Final[Caution[Any, Any]] = Caution(
    "lithium-fire",
    "Lithium packs can burn. Charge attended, on a surface that cannot, at the chemistry's voltage; retire a pack that "
    "is swollen, dented or hot; the pack maker's figures come before these.",
)
LAND_EARLY: Final[Caution[Any, Any]] = Caution(
    "land-early",
    "A calculated time is not a promise. Land by the voltage and charge you measure in flight; wind, cold, age and "
    "hard flying all shorten it.",
)
PROPELLERS_OFF: Final[Caution[Any, Any]] = Caution(
    "propellers-off",
    "Take the propellers off before any test on the bench, set the cap, and check that it holds before they go back "
    "on.",
)
CHECK_AUTHORITY: Final[Caution[Any, Any]] = Caution(
    "check-authority",
    "Rules differ between places and change; a mass limit is one condition among several. Check with your aviation "
    "authority before you fly.",
)
RESISTANCE_ASSUMED: Final[Caution[Any, Any]] = Caution(
    "resistance-assumed",
    "cell_resistance is a judgement for a good new cell. Small packs measured with leads and connectors run three to "
    "six times as high: measure yours.",
    assumed="cell_resistance",
)
MORE_THAN_FULL: Final[Caution[Any, Any]] = Caution(
    "more-than-full",
    "{open_circuit_voltage} is more than such a pack holds when full: check cells, chemistry and the reading.",
    when=lambda given, found: (
        given.open_circuit_voltage > MEASURED_FULL * given.cells * cells.FULL_VOLTAGE[given.chemistry]
    ),
)
OUTSIDE_TEMPERATURE: Final[Caution[Any, Any]] = Caution(
    "outside-temperature",
    "{pack_temperature} is outside the 0 to 40 degC for which the change of resistance was checked.",
    when=lambda given, found: (
        (given.pack_temperature < cells.COLDEST_CHECKED) | (given.pack_temperature > cells.HOTTEST_CHECKED)
    ),
)
LIHV_EXTRAPOLATED: Final[Caution[Any, Any]] = Caution(
    "lihv-extrapolated",
    "The rested voltage of lihv cells is carried on from a lipo cell's; no measurement of such a cell stands behind "
    "it.",
    when=lambda given, found: given.chemistry == cells.LIHV,
)
NO_RESISTANCE: Final[Rule[Any, Any]] = Rule(
    "no-resistance",
    "Without resistance there is no greatest power; give cell_resistance or lead_resistance.",
    when=lambda given, found: found.pack_resistance == 0,
    results=("greatest_power",),
)
USUAL_RESISTANCE: Final[Assumption[Any]] = Assumption(
    "cell_resistance",
    "10 mohm Ah divided by the capacity: a judgement for a good new cell",
    lambda given: cells.usual_resistance(given.capacity),
    uncertainty=lambda given: cells.usual_resistance(given.capacity),
)

RESISTANCE_FORMULA: Final = (
    "cells * cell_resistance * exp(activation_energy / 8.314462618 * (1 / pack_temperature - 1 / 298.15))"
    " + lead_resistance"
)


def rested_voltage(*about: str) -> Reference:
    """Where the open-circuit curves come from."""
    return Reference(
        "Rested voltage against charge: PyBaMM 26.10 at C/50 with Ai2020 (lipo), Chen2020 (li-ion), Prada2013 "
        "(lifepo4); lihv extrapolated from Ai2020",
        url="https://doi.org/10.5334/jors.309",
        about=about,
    )


def arrhenius(*about: str) -> Reference:
    """Where the change of resistance with temperature comes from."""
    return Reference(
        "Arrhenius' law for resistance; 4 to 34 kJ/mol over four published cells, PyBaMM 26.10, 10 s pulses at 1 C",
        url="https://doi.org/10.5334/jors.309",
        about=about,
    )
