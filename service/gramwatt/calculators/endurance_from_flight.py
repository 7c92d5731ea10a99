"""A flown time carried to another pack and another mass."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE
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

FLOWN_CHEMISTRY: Final = Choice(cells.CHEMISTRIES, "Chemistry of the pack flown, where it is another.", optional=True)


@dataclass(frozen=True, slots=True)
class Inputs:
    """The flight that was flown, and the pack and mass of the one to come."""

    reference_duration: Annotated[
        Array, Quantity("min", "Time flown, as measured, down to the reserve.", above=0, at_most=1000)
    ]
    reference_cells: Annotated[Array, Count("Cells in series of the pack flown.", at_least=1, at_most=24)]
    reference_capacity: Annotated[
        Array, Quantity("mAh", "Rated capacity of the whole pack flown.", above=0, at_most=1e6)
    ]
    reference_mass: Annotated[Array, Quantity("g", "All-up mass flown.", above=0, at_most=1e5)]
    cells: fields.Cells
    capacity: fields.Capacity
    mass: fields.Mass
    mass_exponent: fields.MassExponent
    chemistry: fields.Chemistry
    reference_chemistry: Annotated[IndexArray, FLOWN_CHEMISTRY]
    reserve: fields.Reserve
    reference_reserve: Annotated[
        Array,
        Quantity(
            "%",
            "Charge that was left at landing of the flight flown, where it is another.",
            at_least=0,
            below=100,
            optional=True,
        ),
    ]
    pack_mass: fields.PackMass


NOMINAL = (
    "cells times nominal cell voltage (lipo 3.7 V, lihv 3.8 V, li-ion 3.6 V, lifepo4 3.2 V) times capacity, less the "
    "reserve"
)


@dataclass(frozen=True, slots=True)
class Results:
    """The new flight, against the one flown."""

    endurance: Annotated[
        Array, Quantity("min", "Time of the new flight.", formula="reference_duration * duration_ratio")
    ]
    duration_ratio: Annotated[Array, Quantity("1", "New time over old.", formula="energy_ratio / power_ratio")]
    energy_ratio: Annotated[
        Array, Quantity("1", "New energy over old, reserves left out.", formula="usable_energy / reference_energy")
    ]
    power_ratio: Annotated[
        Array, Quantity("1", "New average power over old.", formula="(mass / reference_mass)**mass_exponent")
    ]
    implied_power: Annotated[
        Array, Quantity("W", "Average power of the new flight.", formula="usable_energy / endurance")
    ]
    reference_power: Annotated[
        Array, Quantity("W", "Average power of the flight flown.", formula="reference_energy / reference_duration")
    ]
    usable_energy: Annotated[Array, Quantity("Wh", "Label energy of the new pack, less its reserve.", method=NOMINAL)]
    reference_energy: Annotated[Array, Quantity("Wh", "The same of the pack flown.", method=NOMINAL)]
    linear_endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Time if power went as mass itself (x = 1), the least that small craft were measured to do.",
            formula="reference_duration * energy_ratio * reference_mass / mass",
        ),
    ]
    best_pack_mass: Annotated[
        Array,
        Quantity(
            "g",
            "Mass of a pack of the new one's energy per mass that flies longest on this craft.",
            formula="(mass - pack_mass) / (mass_exponent - 1)",
            needs=("pack_mass",),
        ),
    ]


def endurance_from_flight(given: Inputs) -> Results:
    """Flying time with another pack at another mass, from a time that was flown: energy over mass^x, as ratios.

    The same motors and propellers, flown in the same way and in the same air. It knows no voltage sag: a pack that is
    loaded much harder than the one flown gives less of its label energy. The further the masses are apart, the more
    hangs on mass_exponent; power-fit finds it from flights at several masses.
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
    summary="A flown time carried to another pack and mass.",
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
            "A pack of {pack_mass} leaves nothing of an all-up mass of {mass}.",
            when=lambda given, found: given.pack_mass >= given.mass,
            results=("best_pack_mass",),
        ),
        Rule(
            "no-best-pack",
            "Where power grows no faster than mass (mass_exponent {mass_exponent}), every heavier pack of the same "
            "kind flies longer: there is no best one.",
            when=lambda given, found: (given.mass_exponent <= 1) & ~(given.pack_mass >= given.mass),
            results=("best_pack_mass",),
        ),
    ),
    references=(
        Reference(
            "Energy over average power, and average power in proportion to mass^x: derived. x = 1.5 is hover by "
            "momentum theory, P = W^1.5 / sqrt(2 rho A): Leishman, Principles of Helicopter Aerodynamics, chapter 2 "
            "(from memory)",
        ),
        Reference(
            "Measured x of 1.0 (30 to 90 gf a rotor) to 1.3 (200 to 450 gf), medians, single runs 0.9 to 1.5: slope of "
            "ln electrical power against ln thrust, static runs of nine motors with eight five-inch propellers",
            url="https://github.com/StrawsonDesign/motor_propeller_testing",
            about=("endurance", "duration_ratio", "power_ratio", "implied_power", "linear_endurance"),
        ),
        Reference(
            "Best pack mass: time ~ b / (m_0 + b)^x is longest at b = m_0 / (x - 1), derived",
            about=("best_pack_mass",),
        ),
        Reference(
            "Nominal cell voltages by chemistry: common practice, no source",
            about=("usable_energy", "reference_energy", "energy_ratio", "implied_power", "reference_power"),
        ),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution(
            "exponent-uncertain",
            "At mass_exponent {mass_exponent} the answer is near the aerodynamic law. Measured small craft run 1.0 to "
            "1.3: the real time lies rather between {endurance} and the {linear_endurance} of x = 1.",
            when=lambda given, found: (given.mass_exponent > 1.3) & (abs(given.mass / given.reference_mass - 1) > 1e-3),
        ),
        Caution(
            "other-voltage",
            "{cells} cells turn the motors of a craft flown on {reference_cells} at other speeds. The time holds for "
            "the same flying, not for the same stick: set a throttle cap, and see that motors and controllers bear "
            "the voltage.",
            when=lambda given, found: given.cells != given.reference_cells,
        ),
        Caution(
            "far-from-flown",
            "{mass} is far from the {reference_mass} flown: motors and propellers work at another efficiency there. "
            "Fly it once and ask again from that flight.",
            when=lambda given, found: abs(given.mass - given.reference_mass) > 0.3 * given.reference_mass,
        ),
        Caution(
            "loaded-harder",
            "The new pack is emptied more than half as fast again as the old: it sags more and gives less of its "
            "label energy, so the time is too hopeful.",
            when=lambda given, found: (1 - given.reserve) > 1.5 * (1 - given.reference_reserve) * found.duration_ratio,
        ),
        Caution(
            "best-pack-is-beyond",
            "A pack of {best_pack_mass} weighs more than the rest of the craft: thrust, motors and frame give out long "
            "before. It says only that on paper a heavier pack of the same kind still flies longer.",
            when=lambda given, found: found.best_pack_mass > given.mass - given.pack_mass,
        ),
        Caution(
            "beyond-best-pack",
            "The pack of {pack_mass} is past the best one of {best_pack_mass}: a lighter one of the same kind flies "
            "longer.",
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
            "A long-range li-ion pack instead of lipo, exponent measured",
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
