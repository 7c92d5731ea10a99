"""Flight time with another pack and mass, from a measured flight."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, NOMINAL_VOLTAGES, nominal_voltages
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Caution,
    Choice,
    Count,
    CurveChart,
    Example,
    IndexArray,
    Quantity,
    Reference,
    Rule,
)
from gramwatt.physics import cells, scaling

REFERENCE_CHEMISTRY: Final = Choice(
    cells.CHEMISTRIES, "Chemistry of the pack of the measured flight, if different.", optional=True
)


@dataclass(frozen=True, slots=True)
class Inputs:
    """A measured flight, and the pack and mass of the next one."""

    reference_duration: Annotated[
        Array, Quantity("min", "Measured flight time, down to the reserve.", above=0, at_most=1000)
    ]
    reference_cells: Annotated[
        Array, Count("Cells in series of the pack of the measured flight.", at_least=1, at_most=24)
    ]
    reference_capacity: Annotated[
        Array, Quantity("mAh", "Rated capacity of the whole pack of the measured flight.", above=0, at_most=1e6)
    ]
    reference_mass: Annotated[Array, Quantity("g", "All-up mass of the measured flight.", above=0, at_most=1e5)]
    cells: fields.Cells
    capacity: fields.Capacity
    mass: fields.Mass
    mass_exponent: fields.MassExponent
    chemistry: fields.Chemistry
    reference_chemistry: Annotated[IndexArray, REFERENCE_CHEMISTRY]
    reserve: fields.Reserve
    reference_reserve: Annotated[
        Array,
        Quantity(
            "%",
            "Charge left at landing of the measured flight, if different.",
            at_least=0,
            below=100,
            optional=True,
        ),
    ]
    pack_mass: fields.PackMass


NOMINAL = f"cells times nominal cell voltage ({NOMINAL_VOLTAGES}) times capacity, less the reserve"


@dataclass(frozen=True, slots=True)
class Results:
    """The new flight, compared with the measured one."""

    endurance: Annotated[
        Array, Quantity("min", "Flight time of the new flight.", formula="reference_duration * duration_ratio")
    ]
    duration_ratio: Annotated[Array, Quantity("1", "New time over old.", formula="energy_ratio / power_ratio")]
    energy_ratio: Annotated[
        Array, Quantity("1", "New usable energy over old.", formula="usable_energy / reference_energy")
    ]
    power_ratio: Annotated[
        Array, Quantity("1", "New average power over old.", formula="(mass / reference_mass)**mass_exponent")
    ]
    implied_power: Annotated[
        Array, Quantity("W", "Average power of the new flight.", formula="usable_energy / endurance")
    ]
    reference_power: Annotated[
        Array, Quantity("W", "Average power of the measured flight.", formula="reference_energy / reference_duration")
    ]
    usable_energy: Annotated[Array, Quantity("Wh", "Label energy of the new pack, less its reserve.", method=NOMINAL)]
    reference_energy: Annotated[Array, Quantity("Wh", "The same for the measured flight.", method=NOMINAL)]
    linear_endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Flight time if power were proportional to mass (x = 1), the lowest exponent measured for small craft.",
            formula="reference_duration * energy_ratio * reference_mass / mass",
        ),
    ]
    best_pack_mass: Annotated[
        Array,
        Quantity(
            "g",
            "Pack mass of the longest flight, at the energy per mass of the new pack.",
            formula="(mass - pack_mass) / (mass_exponent - 1)",
            needs=("pack_mass",),
        ),
    ]


def endurance_from_flight(given: Inputs) -> Results:
    """Compute flight time with another pack and mass from a measured flight: ratios of energy over mass^x.

    Valid for the same motors and propellers, flown in the same way and in the same air. Voltage sag is not modelled: a
    pack that is loaded much harder delivers less of its label energy. The more the masses differ, the more the result
    depends on the mass exponent; power-fit finds it from flights at several masses.
    """
    energy = given.cells * cells.NOMINAL_VOLTAGE[given.chemistry] * given.capacity * (1 - given.reserve)
    reference_energy = (
        given.reference_cells
        * cells.NOMINAL_VOLTAGE[given.reference_chemistry]
        * given.reference_capacity
        * (1 - given.reference_reserve)
    )
    mass_ratio = given.mass / given.reference_mass
    energy_ratio = energy / reference_energy
    power_ratio = mass_ratio**given.mass_exponent
    duration_ratio = energy_ratio / power_ratio
    reference_power = reference_energy / given.reference_duration
    return Results(
        endurance=given.reference_duration * duration_ratio,
        duration_ratio=duration_ratio,
        energy_ratio=energy_ratio,
        power_ratio=power_ratio,
        implied_power=reference_power * power_ratio,
        reference_power=reference_power,
        usable_energy=energy,
        reference_energy=reference_energy,
        linear_endurance=given.reference_duration * energy_ratio / mass_ratio,
        best_pack_mass=scaling.best_pack_mass(given.mass - given.pack_mass, given.mass_exponent),
    )


CALCULATOR = Calculator(
    title="How long with another pack?",
    summary="Flight time with another pack and mass, from a measured flight.",
    inputs=Inputs,
    results=Results,
    formula=endurance_from_flight,
    category="after",
    chart=CurveChart(
        "mass",
        ("endurance",),
        start=lambda given, found: 0.7 * np.minimum(given.mass, given.reference_mass),
        stop=lambda given, found: 1.3 * np.maximum(given.mass, given.reference_mass),
        points=lambda given, found: (given.reference_mass, given.reference_duration),
    ),
    assumptions=(
        Assumption("reference_chemistry", "the same as chemistry", lambda given: given.chemistry),
        Assumption("reference_reserve", "the same as reserve", lambda given: given.reserve),
    ),
    rules=(
        Rule(
            "pack-outweighs-craft",
            "A pack of {pack_mass} leaves nothing for the rest of an all-up mass of {mass}.",
            when=lambda given, found: given.pack_mass >= given.mass,
            results=("best_pack_mass",),
        ),
        Rule(
            "no-best-pack",
            "Power rises no faster than mass (mass exponent {mass_exponent}), so every heavier pack of the same kind "
            "flies longer: there is no best one.",
            when=lambda given, found: (given.mass_exponent <= 1) & ~(given.pack_mass >= given.mass),
            results=("best_pack_mass",),
        ),
    ),
    references=(
        Reference(
            "Energy over average power, and average power in proportion to mass^x: derived. x = 1.5 is hover by "
            "momentum theory, P = W^1.5 / sqrt(2 rho A), derived"
        ),
        Reference(
            "Measured x of 1.0 (30 to 90 gf a rotor) to 1.3 (200 to 450 gf), medians, single runs 0.9 to 1.5: slope of "
            "ln electrical power against ln thrust, static runs of nine motors with eight five-inch propellers",
            url="https://github.com/StrawsonDesign/motor_propeller_testing",
            about=("endurance", "duration_ratio", "power_ratio", "implied_power", "linear_endurance"),
        ),
        Reference(
            "Best pack mass: time ~ b / (m_0 + b)^x is longest at b = m_0 / (x - 1), derived", about=("best_pack_mass",)
        ),
        nominal_voltages("usable_energy", "reference_energy", "energy_ratio", "implied_power", "reference_power"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution(
            "exponent-uncertain",
            "The mass exponent {mass_exponent} is close to the aerodynamic law. Measured small craft have 1.0 to 1.3: "
            "expect a time between {endurance} and {linear_endurance} (exponent 1).",
            when=lambda given, found: (given.mass_exponent > 1.3) & (abs(given.mass / given.reference_mass - 1) > 1e-3),
        ),
        Caution(
            "other-voltage",
            "On {cells} cells instead of {reference_cells} the motors turn at other speeds. The time is for the same "
            "flying, not for the same stick position: set a throttle cap, and check that motors and controllers are "
            "rated for the voltage.",
            when=lambda given, found: given.cells != given.reference_cells,
        ),
        Caution(
            "far-from-flown",
            "{mass} is far from the {reference_mass} of the measured flight: motors and propellers have another "
            "efficiency there. Measure one flight at the new mass and start from that.",
            when=lambda given, found: abs(given.mass - given.reference_mass) > 0.3 * given.reference_mass,
        ),
        Caution(
            "loaded-harder",
            "The new pack is discharged more than 1.5 times as fast as the old one: it sags more and delivers less of "
            "its label energy, so the real time is shorter.",
            when=lambda given, found: (1 - given.reserve) > 1.5 * (1 - given.reference_reserve) * found.duration_ratio,
        ),
        Caution(
            "best-pack-is-beyond",
            "A pack of {best_pack_mass} is heavier than the rest of the craft: thrust, motors and frame reach their "
            "limits long before. It only means that, on paper, a heavier pack of the same kind still flies longer.",
            when=lambda given, found: found.best_pack_mass > given.mass - given.pack_mass,
        ),
        Caution(
            "beyond-best-pack",
            "The pack of {pack_mass} is heavier than the best one of {best_pack_mass}: a lighter one of the same kind "
            "flies longer.",
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
                "pack_mass": 215,
            },
            expected={
                "endurance": 7.1115,
                "duration_ratio": 1.18526,
                "energy_ratio": 1.5,
                "power_ratio": 1.26555,
                "linear_endurance": 7.69231,
                "reference_power": 153.92,
                "best_pack_mass": 974,
            },
            rtol=1e-5,
            source="by hand: 1.5 / 1.17^1.5 = 1.5 / 1.26555 = 1.18526; x 6 min = 7.1115 min; 9 / 1.17 = 7.69231 min; "
            "4 x 3.7 V x 1.3 Ah x 0.8 x 60 / 6 min = 153.92 W; (702 - 215) / 0.5 = 974 g",
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
            },
            expected={
                "usable_energy": 81.648,
                "reference_energy": 24.975,
                "reference_power": 166.5,
                "power_ratio": 1.37004,
                "implied_power": 228.111,
                "endurance": 21.4759,
            },
            rtol=5e-6,
            source="by hand: 6 x 3.6 V x 4.2 Ah x 0.9 = 81.648 Wh; 6 x 3.7 V x 1.5 Ah x 0.75 = 24.975 Wh, in 0.15 h "
            "166.5 W; 1.3^1.2 = 1.37004; x 166.5 W = 228.111 W; 81.648 Wh / 228.111 W = 21.4759 min",
        ),
    ),
)
