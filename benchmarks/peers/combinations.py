"""A search among options in plain numpy: every combination as a row of whole columns, by the same kernels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from gramwatt.physics import cells, constants, craft, pack


def rank(
    drive: craft.Drive,
    packs: Mapping[str, Any],
    slots: Sequence[Mapping[str, Any]],
    *,
    dry_mass: float,
    limit: float,
    power_ratio: float,
    avionics_power: float,
    reserve: float,
    count: int,
    block: int = 32_768,
) -> tuple[Any, Any]:
    """Return flight times [s] and numbers of the best combinations under the limit, of one motor and propeller.

    ``packs`` are columns (K,) in SI units, ``slots`` have masses and prices (n,) of their options.
    """
    shape = (len(packs["mass"]), *(len(slot["mass"]) for slot in slots))
    total = int(np.prod(shape))
    best_times, best_numbers = np.empty(0), np.empty(0, dtype=np.intp)
    for start in range(0, total, block):
        numbers = np.arange(start, min(start + block, total))
        pack_at, *options = np.unravel_index(numbers, shape)
        mass = dry_mass + packs["mass"][pack_at]
        price = packs["price"][pack_at]
        for slot, at in zip(slots, options, strict=True):
            mass = mass + slot["mass"][at]
            price = price + slot["price"][at]
        source = {
            "open_circuit_voltage": packs["voltage"][pack_at],
            "pack_resistance": packs["resistance"][pack_at],
            "avionics_power": np.full(len(numbers), avionics_power),
        }
        full = craft.operate(drive, np.ones(len(numbers)), **source)
        hover = craft.demand_at_speed(drive, craft.hover_speed(drive, mass), **source)
        thrust_to_weight = full.thrust / (mass * constants.STANDARD_GRAVITY)
        chemistry = packs["chemistry"][pack_at]
        flight = pack.discharge_pack(
            chemistry,
            packs["cells"][pack_at],
            power=hover.power * power_ratio,
            resistance=source["pack_resistance"],
            capacity=packs["capacity"][pack_at],
            start_state_of_charge=np.ones(len(numbers)),
            reserve=np.full(len(numbers), reserve),
            cutoff_voltage=cells.CUTOFF_VOLTAGE[chemistry],
        )
        feasible = (mass < limit) & (hover.duty <= 1) & (thrust_to_weight > 1) & np.isfinite(flight.duration * price)
        times = np.concatenate([best_times, flight.duration[feasible]])
        numbers = np.concatenate([best_numbers, numbers[feasible]])
        order = np.argsort(-times, kind="stable")[:count]
        best_times, best_numbers = times[order], numbers[order]
    return best_times, best_numbers
