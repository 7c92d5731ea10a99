"""A run of wire in the gauges nearest to its own."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import wires
from gramwatt.calculators._shared.packs import column
from gramwatt.calculators._shared.wire_results import MASS, RESISTANCE, make_temperature
from gramwatt.model import Array, Quantity, StringArray, Table, Text
from gramwatt.physics import wire

NEIGHBOURS: Final = 3
"""Gauges on either side of this one that are compared with it."""


@dataclass(frozen=True, slots=True)
class GaugeResults:
    """The same run in a wire of a gauge near this one."""

    name: Annotated[StringArray, Text("Gauge.", label="Gauge")]
    wire_area: Annotated[Array, Quantity("mm2", "Area of the copper.", label="Area", method="of the gauge")]
    copper_mass: Annotated[Array, Quantity("g", "Mass of the copper.", label="Mass of copper", formula=MASS)]
    copper_mass_change: Annotated[
        Array,
        Quantity("g", "Mass beside this wire.", label="Mass change", signed=True, method="less that of this wire"),
    ]
    voltage_drop: Annotated[
        Array, Quantity("V", "Voltage lost at the average current.", formula=f"mean_current * {RESISTANCE}")
    ]
    power_loss: Annotated[
        Array,
        Quantity("W", "Power lost at the average current.", label="Power lost", formula="mean_current * voltage_drop"),
    ]
    wire_temperature: Annotated[
        Array, make_temperature("Temperature of the copper.", "Wire temperature", method="as that of this wire")
    ]


ByGauge: TypeAlias = Annotated[
    GaugeResults,
    Table(GaugeResults, "The same run in the gauges nearest to this one.", label="Other gauges", max_length=7),
]


def find_temperature(given: Any, area: Array) -> Array:
    """Return the temperature of the copper (N,) or (N, M) [K]: as given, else in still air."""
    expand = column if area.ndim > 1 else np.asarray
    in_still_air = wire.steady_temperature(
        expand(given.mean_current),
        area,
        expand(given.outer_diameter_ratio) * wire.circle_diameter(area),
        lay=1 + expand(given.stranding_allowance),
        coefficient=expand(given.heat_transfer_coefficient),
        air_temperature=expand(given.air_temperature),
    )
    known = expand(given.wire_temperature)
    return np.where(np.isnan(known), in_still_air, known)


def compare_gauges(given: Any, area: Array, run: Array, mass: Array) -> GaugeResults:
    """Return the run in the gauges nearest to an area (N,); no rows where no area is known."""
    steps = np.arange(-NEIGHBOURS, NEIGHBOURS + 1 if np.isfinite(area).any() else -NEIGHBOURS)
    nearest = np.round(wire.diameter_gauge(wire.circle_diameter(area)))
    middle = np.clip(nearest, wire.THICKEST_GAUGE + NEIGHBOURS, wire.THINNEST_GAUGE - NEIGHBOURS)
    gauges = column(middle) + steps
    areas = wire.circle_area(wire.gauge_diameter(gauges))
    temperature = find_temperature(given, areas)
    masses = wire.COPPER_DENSITY * areas * column(run)
    drop = column(given.mean_current) * wire.resistivity(temperature) * column(run) / areas
    return GaugeResults(
        name=wires.name_gauges(gauges),
        wire_area=areas,
        copper_mass=masses,
        copper_mass_change=masses - column(mass),
        voltage_drop=drop,
        power_loss=column(given.mean_current) * drop,
        wire_temperature=temperature,
    )
