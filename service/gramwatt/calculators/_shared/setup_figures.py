"""The figures of a craft in several setups: mass, thrust, current, hover, flight time."""

from typing import Any, NamedTuple

import numpy as np

from gramwatt.calculators._shared import flights, setups
from gramwatt.calculators._shared.packs import column
from gramwatt.model import Array, IndexArray
from gramwatt.physics import cells, craft, pack, weighing


class Figures(NamedTuple):
    """Setups of N requests; arrays (N, M)."""

    mass: Array
    """All-up mass [kg]."""
    compared: weighing.LimitComparison
    throttle: setups.Throttle
    source: dict[str, Array]
    """The packs, as `craft.operate` takes them."""
    hover_throttle: Array
    hover_power: Array
    """[W]; nan where full throttle does not lift the craft."""
    mean_power: Array
    """Average power in flight [W]."""
    mean_power_source: IndexArray
    """(N,)"""
    discharge: pack.Discharge
    c_rate: Array
    discharge_rating_share: Array
    controller_rating_share: Array


def find_figures(given: Any, chosen: setups.Chosen) -> Figures:
    """Compute the figures of setups (N, M). An average power that is given is that of the first."""
    packs, source = chosen.pack, setups.get_source(given, chosen)
    mass, standard_uncertainty = setups.weigh(given, chosen)
    limit, inclusive = weighing.limit_in_force(given.rule, given.mass_limit, given.limit_comparison)
    compared = weighing.compare_with_limit(mass, standard_uncertainty, column(limit), column(inclusive))

    throttle = setups.find_throttle(given, chosen, mass, source)
    hover = craft.demand_at_speed(chosen.drive, craft.hover_speed(chosen.drive, mass), **source)
    hover_power = np.where(hover.duty <= 1, hover.power, np.nan)

    mean_power, voltage_ratio, mean_power_source = flights.get_average_power(
        given, mass, hover_power, setups.compare_drives(given, chosen, mass, hover.power, source)
    )
    discharge = pack.discharge_pack(
        packs.chemistry,
        packs.cells,
        power=mean_power / voltage_ratio,
        resistance=source["pack_resistance"],
        capacity=packs.capacity,
        start_state_of_charge=column(given.state_of_charge),
        reserve=column(given.reserve),
        cutoff_voltage=cells.CUTOFF_VOLTAGE[packs.chemistry],
    )
    c_rate = throttle.capped.pack_current / packs.capacity
    return Figures(
        mass=mass,
        compared=compared._replace(verdict=np.where(np.isnan(mass), -1, compared.verdict)),
        throttle=throttle,
        source=source,
        hover_throttle=np.where(hover.duty <= 1, hover.duty, np.nan),
        hover_power=hover_power,
        mean_power=mean_power,
        mean_power_source=mean_power_source,
        discharge=discharge,
        c_rate=c_rate,
        discharge_rating_share=c_rate / packs.discharge_rating,
        controller_rating_share=throttle.capped.motor_current / chosen.controller_rating,
    )
