"""pack-current by hand with numpy, on whole columns that already lie in memory: the floor under every table."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from benchmarks.pack_inputs import Columns
from benchmarks.peers.pack import CHEMISTRIES, CURVES, GAS_CONSTANT, RESULT_UNITS

Numbers = npt.NDArray[Any]

CURVE_OF: Final = np.array([CURVES[chemistry] for chemistry in CHEMISTRIES]).ravel()
CUTOFF: Final = 3.3
CODES: Final = ("below-cutoff", "over-discharge-rating", "deep-sag")


BLOCK: Final = 32_768  # rows worked at a time, so that what lies between stays in the processor's cache


def solve(given: Columns) -> dict[str, Numbers]:
    """Return the nine results of columns, in the units of the contract; nan where the pack cannot give the power."""
    rows = len(given["pack_power"])
    found = {name: np.empty(rows) for name in RESULT_UNITS}
    for start in range(0, rows, BLOCK):
        block = solve_block({name: column[start : start + BLOCK] for name, column in given.items()})
        for name, values in block.items():
            found[name][start : start + BLOCK] = values
    return found


def solve_block(given: Columns) -> dict[str, Numbers]:
    """Return the results of some rows."""
    rows = len(given["pack_power"])
    cells = given["cells"].astype(np.float64)
    chemistry = np.zeros(rows, dtype=np.intp)  # lipo, the default
    temperature = np.full(rows, 25 + 273.15)
    activation_energy = np.full(rows, 20_000.0)

    position = given["state_of_charge"] / 5
    left = np.minimum(position.astype(np.intp), 19)
    position -= left
    left += chemistry * 21
    low = CURVE_OF[left]
    left += 1
    rested = CURVE_OF[left]
    rested -= low
    rested *= position
    rested += low
    rested *= cells

    np.reciprocal(temperature, out=temperature)
    temperature -= 1 / 298.15
    temperature *= activation_energy
    temperature /= GAS_CONSTANT
    resistance = np.exp(temperature, out=temperature)
    resistance *= given["cell_resistance"]
    resistance *= cells
    resistance *= 1e-3

    square = rested * rested
    drop = given["pack_power"] * resistance
    drop *= -4
    drop += square
    with np.errstate(invalid="ignore"):
        np.sqrt(drop, out=drop)
    drop += rested
    current = np.divide(given["pack_power"], drop, out=drop)
    current *= 2
    loaded = current * resistance
    pack_heat_power = loaded * current
    np.subtract(rested, loaded, out=loaded)
    c_rate = current * 1000
    c_rate /= given["capacity"]
    discharge_rating_share = c_rate * 100
    discharge_rating_share /= given["discharge_rating"]
    square /= resistance
    square *= 0.25
    resistance *= 1000
    found = (
        current,
        loaded,
        loaded / cells,
        rested,
        c_rate,
        pack_heat_power,
        square,
        discharge_rating_share,
        resistance,
    )
    return dict(zip(RESULT_UNITS, found, strict=True))


def caution_numbers(found: dict[str, Numbers]) -> npt.NDArray[np.uint8]:
    """Which cautions hold in each row, as bits in the order of `CODES`."""
    bits = (found["loaded_cell_voltage"] < CUTOFF).astype(np.uint8)
    bits += (found["discharge_rating_share"] > 100).astype(np.uint8) * np.uint8(2)
    bits += (found["loaded_voltage"] < 0.8 * found["open_circuit_voltage"]).astype(np.uint8) * np.uint8(4)
    return bits


CAUTION_TEXTS: Final = tuple(" ".join(code for at, code in enumerate(CODES) if bits >> at & 1) for bits in range(8))
"""The codes in words, for each number of `caution_numbers`; what holds for every pack is not repeated in each row."""
