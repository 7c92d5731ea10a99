"""Flight time with another pack and mass, from a measured flight."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import (
    fields,
    flight_steps,
    flights,
    pack_fields,
    reference_fields,
    resistances,
    sentences,
)
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, RESISTANCE_ASSUMED, rested_voltage
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Caution,
    CurveChart,
    Example,
    Quantity,
    Reference,
    Rule,
)
from gramwatt.physics import average_power, pack, scaling
from gramwatt.physics import cells as cell


@dataclass(frozen=True, slots=True)
class Inputs:
    """A measured flight, and the pack and mass of the next one."""

    reference_duration: reference_fields.ReferenceDuration
    reference_cells: reference_fields.ReferenceCells
    reference_capacity: reference_fields.ReferenceCapacity
    reference_mass: reference_fields.ReferenceMass
    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    mass: fields.Mass
    mass_exponent: fields.MassExponent
    chemistry: pack_fields.Chemistry
    reference_chemistry: reference_fields.ReferenceChemistry
    reserve: pack_fields.Reserve
    reference_reserve: reference_fields.ReferenceReserve
    pack_mass: pack_fields.PackMass
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    reference_cell_resistance: resistances.ReferenceCellResistance
    reference_lead_resistance: resistances.ReferenceLeadResistance
    reference_pack_resistance: resistances.ReferencePackResistance
    flight_scatter: flights.FlightScatter


REFERENCE_POWER = "the constant power at which the pack lasts as long as measured, by the model of endurance"


@dataclass(frozen=True, slots=True)
class Results:
    """The new flight, compared with the measured one."""

    endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Flight time of the new flight.",
            label="Flight time",
            formula="sum(pieces.duration)",
            method=flight_steps.FROM_FULL,
        ),
    ]
    duration_ratio: Annotated[
        Array, Quantity("1", "New time over old.", label="Flight time ratio", formula="endurance / reference_duration")
    ]
    energy_ratio: Annotated[
        Array,
        Quantity("1", "New energy used over old.", formula="energy_used / reference_energy_used"),
    ]
    power_ratio: Annotated[
        Array, Quantity("1", "New average power over old.", formula="(mass / reference_mass)**mass_exponent")
    ]
    mean_power: Annotated[
        Array,
        Quantity(
            "W", "Average power of the new flight.", label="Average power", formula="reference_mean_power * power_ratio"
        ),
    ]
    reference_mean_power: Annotated[
        Array,
        Quantity("W", "Average power of the measured flight.", label="Reference average power", method=REFERENCE_POWER),
    ]
    energy_used: Annotated[Array, Quantity("Wh", "Energy drawn from the new pack.", formula="mean_power * endurance")]
    reference_energy_used: Annotated[
        Array,
        Quantity("Wh", "Energy drawn in the measured flight.", formula="reference_mean_power * reference_duration"),
    ]
    linear_endurance: flight_steps.LinearEndurance
    best_pack_mass: flight_steps.BestPackMass


def endurance_from_flight(given: Inputs) -> Results:
    """Compute flight time with another pack and mass from a measured flight: average power in proportion to mass^x.

    The power of the measured flight is the one at which the model of its pack lasts as long; the new pack is discharged
    by the same model. Valid for the same motors and propellers, flown in the same way and in the same air. The more the
    masses differ, the more the result depends on the mass exponent; power-fit finds it from flights at several masses.
    Ranges are those of one more flight.
    """
    reference, new = _reference_pack(given), resistances.packs_of(given)
    reference_mean_power = average_power.find_average_power(
        given.reference_chemistry,
        given.reference_cells,
        duration=given.reference_duration,
        resistance=resistances.of_packs(reference)[:, 0],
        capacity=given.reference_capacity,
        start_state_of_charge=np.ones_like(given.reference_reserve),
        end_state_of_charge=given.reference_reserve,
        cutoff_voltage=cell.CUTOFF_VOLTAGE[given.reference_chemistry],
    )
    law = scaling.fit_power_law(given.reference_mass[:, None], reference_mean_power[:, None], given.mass_exponent)
    power = law.next_power(given.mass, given.flight_scatter, np.zeros_like(given.flight_scatter))
    mass_ratio = given.mass / given.reference_mass
    duration, linear_duration = pack.discharge_pack(
        given.chemistry,
        given.cells,
        power=np.stack([power, power * mass_ratio ** (1 - given.mass_exponent)]),
        resistance=resistances.of_packs(new)[:, 0],
        capacity=given.capacity,
        start_state_of_charge=np.ones((2, len(power))),
        reserve=np.stack([given.reserve, given.reserve]),
        cutoff_voltage=cell.CUTOFF_VOLTAGE[given.chemistry],
    ).duration
    energy, reference_energy_used = power * duration, reference_mean_power * given.reference_duration
    return Results(
        endurance=duration,
        duration_ratio=duration / given.reference_duration,
        energy_ratio=energy / reference_energy_used,
        power_ratio=power / reference_mean_power,
        mean_power=power,
        reference_mean_power=reference_mean_power,
        energy_used=energy,
        reference_energy_used=reference_energy_used,
        linear_endurance=linear_duration,
        best_pack_mass=scaling.best_pack_mass(given.mass - given.pack_mass, given.mass_exponent),
    )


def _reference_pack(given: Inputs) -> resistances.Packs:
    return resistances.packs_of(given, "reference_")


CALCULATOR = Calculator(
    title="How long with another pack?",
    summary="Flight time with another pack and mass, from a measured flight.",
    inputs=Inputs,
    results=Results,
    formula=endurance_from_flight,
    steps=flight_steps.find_discharge,
    category="after",
    sentences=(sentences.OTHER_FLIGHT,),
    charts=(
        CurveChart(
            "mass",
            ("endurance",),
            start=lambda given, found: 0.7 * np.minimum(given.mass, given.reference_mass),
            stop=lambda given, found: 1.3 * np.maximum(given.mass, given.reference_mass),
            points=lambda given, found: (given.reference_mass, given.reference_duration),
            points_are="flown",
            title="Flight time against mass",
        ),
    ),
    assumptions=(
        Assumption("reference_chemistry", "the same as chemistry", lambda given: given.chemistry),
        Assumption("reference_reserve", "the same as reserve", lambda given: given.reserve),
        Assumption(
            "cell_resistance",
            resistances.FOLLOWING,
            lambda given: resistances.assume_cell_resistance(resistances.packs_of(given), _reference_pack(given))[:, 0],
            factor=lambda given: resistances.get_factor(resistances.packs_of(given), _reference_pack(given))[:, 0],
        ),
        Assumption(
            "reference_cell_resistance",
            "in proportion to the resistance of the new pack, by capacity",
            lambda given: resistances.assume_cell_resistance(_reference_pack(given), resistances.packs_of(given))[:, 0],
        ),
    ),
    rules=(
        Rule(
            "power-beyond-pack",
            "The new pack cannot deliver {mean_power}: use more cells or a pack with lower resistance.",
            when=lambda given, found: np.isnan(found.endurance),
            results=("endurance", "duration_ratio", "energy_ratio", "energy_used", "linear_endurance"),
            partly="the new pack cannot deliver the power",
        ),
        Rule(
            "pack-outweighs-craft",
            "A pack of {pack_mass} leaves nothing for the rest of an all-up mass of {mass}.",
            when=lambda given, found: given.pack_mass >= given.mass,
            results=("best_pack_mass",),
        ),
        Rule(
            "no-best-pack",
            "Power rises no faster than mass (mass exponent {mass_exponent}): every heavier pack flies longer.",
            severity="low",
            when=lambda given, found: (given.mass_exponent <= 1) & ~(given.pack_mass >= given.mass),
            results=("best_pack_mass",),
            partly="power rises no faster than mass, and there is no best pack",
        ),
    ),
    references=(
        Reference(
            "Constant-power discharge of a rested voltage behind a resistance, forth and back, and average power in "
            "proportion to mass^x: derived. x = 1.5 is hover by momentum theory, P = W^1.5 / sqrt(2 rho A), derived"
        ),
        Reference(
            "Measured x of 1.0 (30 to 90 gf a rotor) to 1.3 (200 to 450 gf), medians, single runs 0.9 to 1.5: slope of "
            "ln electrical power against ln thrust, static runs of nine motors with eight five-inch propellers",
            url="https://github.com/StrawsonDesign/motor_propeller_testing",
            about=("endurance", "duration_ratio", "power_ratio", "mean_power", "linear_endurance"),
        ),
        Reference(
            "Best pack mass: time ~ b / (m_0 + b)^x is longest at b = m_0 / (x - 1), derived", about=("best_pack_mass",)
        ),
        flights.SCATTER,
        rested_voltage("endurance", "linear_endurance", "reference_mean_power", "energy_used", "reference_energy_used"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        RESISTANCE_ASSUMED,
        Caution(
            "exponent-uncertain",
            "The mass exponent {mass_exponent} is high. "
            + fields.EXPONENTS_OF_CRAFT
            + " With an exponent of 1 the time is {linear_endurance}.",
            when=lambda given, found: (given.mass_exponent > 1.3) & (abs(given.mass / given.reference_mass - 1) > 1e-3),
        ),
        Caution(
            "cell-count-differs",
            "On {cells} cells instead of {reference_cells} the motors turn at other speeds. The time is for the same "
            "flying, not the same stick position: set a cap, and check the ratings of motors and controllers.",
            when=lambda given, found: given.cells != given.reference_cells,
        ),
        Caution(
            "far-from-reference-mass",
            "{mass} is far from the {reference_mass} of the measured flight: motors and propellers have another "
            "efficiency there. Measure one flight at the new mass and start from that.",
            when=lambda given, found: abs(given.mass - given.reference_mass) > 0.3 * given.reference_mass,
        ),
        Caution(
            "best-pack-out-of-reach",
            "A pack of {best_pack_mass} is heavier than the rest of the craft: thrust, motors and frame reach their "
            "limits long before. It only means that, on paper, a heavier pack of the same kind still flies longer.",
            severity="low",
            when=lambda given, found: found.best_pack_mass > given.mass - given.pack_mass,
        ),
        Caution(
            "heavier-than-best-pack",
            "The pack of {pack_mass} is heavier than the best one of {best_pack_mass}: a lighter one of the same kind "
            "flies longer.",
            severity="low",
            when=lambda given, found: given.pack_mass > found.best_pack_mass,
        ),
    ),
    examples=(
        Example(
            "From 4 to 6 cells, all-up mass up by 17 %",
            given={
                "reference_duration": 6,
                "reference_cells": 4,
                "reference_capacity": 1300,
                "reference_mass": 600,
                "cells": 6,
                "capacity": 1300,
                "mass": 702,
                "mass_exponent": 1.5,
                "pack_mass": 215,
            },
            expected={
                "endurance": 7.14803,
                "duration_ratio": 1.19134,
                "power_ratio": 1.26555,
                "linear_endurance": 7.74775,
                "reference_mean_power": 156.504,
                "energy_used": 23.5961,
                "best_pack_mass": 974,
            },
            rtol=5e-6,
            source="by numerical integration and Brent's method (SciPy), outside this service, with 46.15, 69.23 mΩ: "
            "156.504 W; x 1.17^1.5 = 198.064 W last 7.14803 min, x 1.17 7.74775 min; by hand (702 - 215) / 0.5 = 974 g",
        ),
        Example(
            "A long-range Li-ion pack instead of LiPo, exponent measured",
            given={
                "reference_duration": "540 s",
                "reference_cells": 6,
                "reference_capacity": "1.5 Ah",
                "reference_mass": 700,
                "reference_chemistry": "lipo",
                "reference_reserve": 25,
                "cells": 6,
                "capacity": "4.2 Ah",
                "mass": "910 g",
                "mass_exponent": 1.2,
                "chemistry": "li-ion",
                "reserve": 10,
                "reference_pack_resistance": 40,
                "cell_resistance": 15,
                "lead_resistance": 2,
            },
            expected={
                "endurance": 20.8411,
                "reference_mean_power": 172.979,
                "reference_energy_used": 25.9468,
                "power_ratio": 1.37004,
                "mean_power": 236.987,
                "energy_used": 82.3180,
            },
            rtol=5e-6,
            source="by numerical integration and Brent's method (SciPy), outside this service, with 40 and 92 mΩ: "
            "172.979 W for 9 min; by hand 1.3^1.2 = 1.37004, x 172.979 W = 236.987 W, which last 20.8411 min",
        ),
        Example(
            "The measured flight again, its resistance given in parts and as a whole",
            given={
                "reference_duration": 4.5,
                "reference_cells": 4,
                "reference_capacity": 650,
                "reference_mass": 213,
                "reference_cell_resistance": 14,
                "reference_lead_resistance": 4,
                "cells": 4,
                "capacity": 650,
                "mass": 213,
                "pack_resistance": 60,
            },
            expected={"endurance": 4.5, "duration_ratio": 1, "power_ratio": 1},
            rtol=1e-9,
            source="by hand: 4 x 14 + 4 = 60 mΩ, so it is the same flight",
        ),
    ),
)
