"""Throttle cap that makes a motor on this pack turn like another motor or pack."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.calculators._shared.cautions import NOMINAL_CELL_VOLTAGE, PROPELLERS_OFF
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
)
from gramwatt.physics import air, rotor

SET_BY: Final = ("full-throttle", "kv-and-cells", "speed", "tip-mach")

CellVoltage = Annotated[Array, fields.optional_quantity("V", "Cell voltage for computing speeds.", at_most=4.5)]


@dataclass(frozen=True, slots=True)
class Inputs:
    """The motor and the pack, and one or more targets; the lowest target sets the cap."""

    kv: fields.Kv
    cells: fields.Cells
    chemistry: fields.Chemistry
    cell_voltage: CellVoltage
    target_kv: Annotated[
        Array, fields.optional_quantity("rpm/V", "Target: speed constant of the motor to match.", at_most=1e5)
    ]
    target_cells: Annotated[Array, Count("Target: cells of the pack to match.", at_least=1, at_most=24, optional=True)]
    target_cell_voltage: CellVoltage
    target_speed: Annotated[Array, fields.optional_quantity("rpm", "Target: maximum speed without load.", at_most=1e6)]
    target_tip_mach: Annotated[
        Array,
        fields.optional_quantity(
            "1", "Target: maximum tip Mach number without load; requires the diameter.", at_most=2
        ),
    ]
    diameter: fields.Diameter
    air_temperature: fields.AirTemperature


LOWEST = (
    "lowest of 100 %, target kV × target cells × target cell voltage / (kV × cells × cell voltage), target speed / "
    "uncapped speed, and the speed at the target tip Mach number / uncapped speed"
)
TIP_MACH = f"no_load_speed * diameter / (2 * {fields.SPEED_OF_SOUND})"


@dataclass(frozen=True, slots=True)
class Results:
    """The cap and its effects."""

    throttle_cap: Annotated[Array, Quantity("%", "Maximum throttle to allow.", at_most=100, method=LOWEST)]
    matched_kv: Annotated[
        Array, Quantity("rpm/V", "Effective speed constant of the capped motor.", formula="kv * throttle_cap")
    ]
    no_load_speed: Annotated[
        Array, Quantity("rpm", "Speed without load at the cap.", formula="uncapped_speed * throttle_cap")
    ]
    uncapped_speed: Annotated[
        Array, Quantity("rpm", "Speed without load and without a cap.", formula="kv * cells * cell_voltage")
    ]
    thrust_share: Annotated[
        Array,
        Quantity("%", "Thrust over that at full throttle, same propeller.", at_most=100, formula="throttle_cap**2"),
    ]
    power_share: Annotated[
        Array,
        Quantity(
            "%", "Shaft power over that at full throttle, same propeller.", at_most=100, formula="throttle_cap**3"
        ),
    ]
    tip_mach: Annotated[
        Array, Quantity("1", "Tip Mach number without load at the cap.", formula=TIP_MACH, needs=("diameter",))
    ]
    set_by: Annotated[
        IndexArray,
        Choice(SET_BY, "Target that sets the cap.", method="the lowest; full-throttle where none is below it"),
    ]


def throttle_cap(given: Inputs) -> Results:
    """Compute the throttle cap from rotor speed without load, which is proportional to throttle, kV and voltage.

    Under load every motor turns slower, one of lower resistance less so: the cap matches speeds without load. Thrust is
    proportional to the square of speed and shaft power to its cube only for the same propeller in the same air.
    """
    sound = air.speed_of_sound(given.air_temperature)
    uncapped = given.kv * given.cells * given.cell_voltage
    matched = given.target_kv * given.target_cells * given.target_cell_voltage
    by_tip = rotor.speed_at_tip_mach(given.target_tip_mach, given.diameter, sound)
    speeds = np.stack([uncapped, matched, given.target_speed, by_tip])
    cap = np.nanmin(speeds, axis=0) / uncapped
    speed = uncapped * cap
    return Results(
        throttle_cap=cap,
        matched_kv=given.kv * cap,
        no_load_speed=speed,
        uncapped_speed=uncapped,
        thrust_share=cap**2,
        power_share=cap**3,
        tip_mach=rotor.tip_mach(speed, given.diameter, sound),
        set_by=np.nanargmin(speeds, axis=0),
    )


CALCULATOR = Calculator(
    title="Which throttle cap tames this motor?",
    summary="Throttle cap that makes a motor on this pack turn like another motor or pack.",
    inputs=Inputs,
    results=Results,
    formula=throttle_cap,
    category="choose",
    chart=CurveChart(
        "cells",
        ("throttle_cap", "no_load_speed"),
        start=lambda given, found: np.maximum(given.cells - 3, 1),
        stop=lambda given, found: given.cells + 3,
    ),
    assumptions=(
        NOMINAL_CELL_VOLTAGE,
        Assumption("target_kv", "the same as kV", lambda given: given.kv),
        Assumption("target_cells", "the same as cells", lambda given: given.cells),
        Assumption("target_cell_voltage", "the same as cell voltage", lambda given: given.cell_voltage),
    ),
    references=(
        Reference(
            "Speed without load is duty times kV times voltage: ideal motor and converter, derived",
            about=("throttle_cap", "matched_kv", "no_load_speed", "uncapped_speed", "set_by"),
        ),
        Reference(
            "Thrust proportional to speed squared, power to speed cubed at constant coefficients: propeller "
            "similarity, derived",
            about=("thrust_share", "power_share"),
        ),
        Reference("Speed of sound sqrt(1.4 R T): ISO 2533:1975", about=("tip_mach", "throttle_cap")),
        Reference(
            "A motor for 4 cells on 6 cells is capped at about 66 %: rule of thumb, no source",
            about=("throttle_cap",),
        ),
    ),
    cautions=(
        PROPELLERS_OFF,
        Caution(
            "cap-is-not-voltage",
            "A cap reduces neither the voltage at the speed controller nor its current ripple. Choose a controller "
            "that is rated for the full pack.",
        ),
        Caution(
            "no-target",
            "No target is below full throttle, so there is no cap. Give target cells, target kV, target speed, or "
            "target tip Mach with the diameter.",
            when=lambda given, found: found.set_by == 0,
        ),
        Caution(
            "tip-mach-needs-diameter",
            "The target tip Mach was not used: it requires the diameter.",
            when=lambda given, found: ~np.isnan(given.target_tip_mach) & np.isnan(given.diameter),
        ),
    ),
    examples=(
        Example(
            "A 4-cell motor on 6 cells",
            given={"kv": 2400, "cells": 6, "target_cells": 4},
            expected={
                "throttle_cap": 66.6666666666667,
                "matched_kv": 1600,
                "set_by": "kv-and-cells",
                "thrust_share": 44.4444444444444,
                "power_share": 29.6296296296296,
            },
            rtol=1e-12,
            source="by hand: 4/6 = 2/3, its square 4/9, its cube 8/27; the rule of thumb is about 66 %",
        ),
        Example(
            "Tips limited to Mach 0.7",
            given={"kv": 2400, "cells": 6, "target_tip_mach": 0.7, "diameter": "127 mm"},
            expected={"no_load_speed": 35822.0131116467, "tip_mach": 0.7, "set_by": "tip-mach"},
            rtol=1e-6,
            source="by hand: 0.7 x 340.294 m/s (ISO 2533 at 15 °C) / (pi x 0.127 m) x 60 = 35 822 rpm",
        ),
    ),
)
