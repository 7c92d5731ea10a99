"""pack-current by hand for one pack, in plain floats: the work that a program of one's own would do."""

from __future__ import annotations

import math
from typing import Any, Final

GAS_CONSTANT: Final = 8.314462618
CHEMISTRIES: Final = ("lipo", "lihv", "li-ion", "lifepo4")
CUTOFF: Final = {"lipo": 3.3, "lihv": 3.3, "li-ion": 2.8, "lifepo4": 2.5}
FULL: Final = {"lipo": 4.2, "lihv": 4.35, "li-ion": 4.2, "lifepo4": 3.6}
CURVES: Final[dict[str, tuple[float, ...]]] = {
    "lipo": (
        *(3.0177, 3.5443, 3.6398, 3.6657, 3.6956, 3.7169, 3.7332, 3.7482, 3.7623, 3.7764, 3.7926),
        *(3.8123, 3.8366, 3.8676, 3.9090, 3.9520, 3.9946, 4.0409, 4.0880, 4.1384, 4.2000),
    ),
    "lihv": (
        *(3.0177, 3.5566, 3.6422, 3.6724, 3.7014, 3.7212, 3.7384, 3.7538, 3.7684, 3.7842, 3.8032),
        *(3.8266, 3.8564, 3.8968, 3.9428, 3.9871, 4.0357, 4.0853, 4.1384, 4.2046, 4.3500),
    ),
    "li-ion": (
        *(2.5175, 3.1129, 3.2981, 3.4348, 3.4856, 3.5291, 3.5820, 3.6294, 3.6673, 3.7057, 3.7512),
        *(3.7986, 3.8408, 3.8899, 3.9481, 3.9945, 4.0422, 4.0810, 4.0967, 4.1236, 4.2000),
    ),
    "lifepo4": (
        *(2.0962, 2.8051, 2.9857, 3.1139, 3.1698, 3.1865, 3.2070, 3.2334, 3.2531, 3.2624, 3.2661),
        *(3.2678, 3.2688, 3.2700, 3.2742, 3.2930, 3.3098, 3.3132, 3.3142, 3.3164, 3.6000),
    ),
}
"""Rested voltage of a cell at 0, 5, ... 100 % of charge."""

UNITS: Final = {
    "capacity": "mAh",
    "pack_power": "W",
    "state_of_charge": "%",
    "open_circuit_voltage": "V",
    "cell_resistance": "mohm",
    "lead_resistance": "mohm",
    "pack_temperature": "degC",
    "activation_energy": "kJ/mol",
    "discharge_rating": "C",
}
RESULT_UNITS: Final = {
    "pack_current": "A",
    "loaded_voltage": "V",
    "loaded_cell_voltage": "V",
    "open_circuit_voltage": "V",
    "c_rate": "C",
    "pack_heat_power": "W",
    "maximum_pack_power": "W",
    "discharge_rating_share": "%",
    "pack_resistance": "mohm",
}
DEFAULTS: Final[dict[str, Any]] = {
    "chemistry": "lipo",
    "state_of_charge": 50,
    "lead_resistance": 0,
    "pack_temperature": 25,
    "activation_energy": 20,
}
FIRE: Final = {
    "code": "lithium-fire",
    "text": "Lithium packs can burn. Never leave a charging pack alone; use a fireproof surface and the right voltage. "
    "Dispose of packs that are swollen, dented or hot. The pack maker's figures take precedence over these.",
}
ASSUMED_RESISTANCE: Final = {
    "code": "resistance-assumed",
    "text": "Cell resistance, with the pack's own leads, is an estimate from the capacity that is known to a factor of "
    "1.8 only. Measure it, or give the pack resistance that flight-log finds in a recording.",
}


def results(inputs: dict[str, Any]) -> dict[str, float | None]:
    """Return the nine results of inputs with all defaults filled in."""
    cells, power, chemistry = inputs["cells"], inputs["pack_power"], inputs["chemistry"]
    rating = inputs.get("discharge_rating")
    rested = inputs.get("open_circuit_voltage")
    if rested is None:
        curve = CURVES[chemistry]
        position = inputs["state_of_charge"] / 5
        left = min(int(position), 19)
        rested = cells * (curve[left] + (curve[left + 1] - curve[left]) * (position - left))
    colder = 1 / (inputs["pack_temperature"] + 273.15) - 1 / 298.15
    grown = math.exp(inputs["activation_energy"] * 1000 / GAS_CONSTANT * colder)
    resistance = (cells * inputs["cell_resistance"] * grown + inputs["lead_resistance"]) / 1000
    greatest = rested * rested / (4 * resistance) if resistance > 0 else None
    found: dict[str, float | None] = dict.fromkeys(RESULT_UNITS)
    found |= {
        "open_circuit_voltage": rested,
        "maximum_pack_power": greatest,
        "pack_resistance": resistance * 1000,
    }
    under_root = rested * rested - 4 * power * resistance
    if under_root < 0:
        return found
    current = 2 * power / (rested + math.sqrt(under_root))
    loaded = rested - current * resistance
    c_rate = current / (inputs["capacity"] / 1000)
    found |= {
        "pack_current": current,
        "loaded_voltage": loaded,
        "loaded_cell_voltage": loaded / cells,
        "c_rate": c_rate,
        "pack_heat_power": current * current * resistance,
        "discharge_rating_share": None if rating is None else 100 * c_rate / rating,
    }
    return found


def answer(given: dict[str, Any]) -> dict[str, Any]:
    """Return the members of the service's response."""
    assumed = [name for name in DEFAULTS if name not in given]
    inputs = {**DEFAULTS, **given}
    if "cell_resistance" not in inputs:
        inputs["cell_resistance"] = 15_000 / inputs["capacity"]
        assumed.append("cell_resistance")
    if "open_circuit_voltage" in given:
        del inputs["state_of_charge"]
        assumed = [name for name in assumed if name != "state_of_charge"]
    found = results(inputs)
    return {
        "calculator": "pack-current",
        "given": inputs,
        "assumed": assumed,
        "results": found,
        "units": {**{name: unit for name, unit in UNITS.items() if name in inputs}, **RESULT_UNITS},
        "cautions": cautions(inputs, found, assumed),
    }


def cautions(inputs: dict[str, Any], found: dict[str, float | None], assumed: list[str]) -> list[dict[str, Any]]:
    """Return the cautions that hold for this pack."""
    made: list[dict[str, Any]] = []
    rested, current, discharge_rating_share = (
        found["open_circuit_voltage"],
        found["pack_current"],
        found["discharge_rating_share"],
    )
    loaded, loaded_cell = found["loaded_voltage"], found["loaded_cell_voltage"]
    if rested is None or current is None or loaded is None or loaded_cell is None:
        text = f"The pack cannot give {inputs['pack_power']:g} W; the most is {found['maximum_pack_power'] or 0:.5g} W."
        made.append({"code": "power-beyond-pack", "text": text})
    elif discharge_rating_share is None:
        text = "discharge_rating_share has no answer without discharge_rating."
        made.append({"code": "needs-input", "text": text, "results": ["discharge_rating_share"]})
    if "cell_resistance" in assumed:
        made.append(ASSUMED_RESISTANCE)
    if loaded_cell is not None and loaded_cell < CUTOFF[inputs["chemistry"]]:
        text = f"At {loaded_cell:.5g} V a cell the pack is below the usual cut-off of its chemistry: cells are harmed."
        made.append({"code": "below-cutoff", "text": text})
    if rested is not None and rested > 1.02 * inputs["cells"] * FULL[inputs["chemistry"]]:
        made.append({"code": "voltage-above-full", "text": f"{rested:.5g} V is more than such a pack holds when full."})
    if discharge_rating_share is not None and discharge_rating_share > 100:
        text = f"The load is {discharge_rating_share:.5g} % of the continuous rating on the label."
        made.append({"code": "over-discharge-rating", "text": text})
    if loaded is not None and rested is not None and loaded < 0.8 * rested:
        made.append({"code": "deep-sag", "text": "More than a fifth of the voltage is lost in the pack."})
    if not 0 <= inputs["pack_temperature"] <= 40:
        text = f"{inputs['pack_temperature']:g} degC is outside the 0 to 40 degC that were checked."
        made.append({"code": "outside-temperature", "text": text})
    return [*made, FIRE]
