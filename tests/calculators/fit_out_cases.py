"""Invented craft with options, and their brute force: each set built as a craft of its own, one after another."""

import itertools
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.calculators.build import CALCULATOR as BUILD
from gramwatt.calculators.fit_out import CALCULATOR as FIT_OUT
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.physics import constants, weighing

CRAFT: Final[dict[str, Any]] = dict(FIT_OUT.examples[0].given)
MOTOR: Final = {"kv": 4300, "motor_resistance": 180, "no_load_current": 0.8}
"""As measured: an estimate would follow the first propeller, which differs between a set and a craft of its own."""
PRICES: Final = (0, 0, 4, 9, 9.5, 20)


def make_problem(seed: int) -> dict[str, Any]:
    """Return the inputs of a random problem: 1 to 4 packs and propellers, up to 3 slots, requirements at random."""
    rng = np.random.default_rng(seed)
    parts = [
        {"name": "frame", "mass": round(float(rng.uniform(35, 50)), 1)},
        {"name": "motor", "mass": round(float(rng.uniform(9, 13)), 2), "count": 4},
        {"name": "camera", "mass": "25.3 ± 0.4 g" if rng.random() < 0.3 else round(float(rng.uniform(20, 34)), 1)},
        {"name": "screw", "mass": 0.5, "count": int(rng.integers(4, 20))},
    ]
    packs = [
        {
            "name": f"pack {number}",
            "cells": int(rng.integers(3, 5)),
            "capacity": int(rng.integers(450, 900)),
            "mass": round(float(rng.uniform(55, 100)), 1),
            "cell_resistance": round(float(rng.uniform(12, 30)), 1),
            **({"discharge_rating": int(rng.integers(35, 100))} if rng.random() < 0.7 else {}),
            "price": float(rng.choice(PRICES)),
        }
        for number in range(rng.integers(1, 4))
    ]
    propellers = [
        {
            "name": f"propeller {number}",
            "diameter": round(float(rng.uniform(2.8, 3.2)), 2),
            "pitch": round(float(rng.uniform(1.8, 2.6)), 2),
            "mass": round(float(rng.uniform(1.2, 2.4)), 2),
        }
        for number in range(rng.integers(1, 3))
    ]
    options: list[dict[str, Any]] = []
    for slot in ("camera", "screw", "lens filter"):
        for number in range(rng.integers(0, 3)):
            low, high = (0.3, 0.7) if slot == "screw" else (0, 40)
            options.append(
                {
                    "slot": slot,
                    "name": f"{slot} {number}",
                    "mass": round(float(rng.uniform(low, high)), 2),
                    "price": float(rng.choice(PRICES)),
                }
            )
    if rng.random() < 0.3:
        motor = {"kv": int(rng.integers(3500, 5000)), "motor_resistance": 190, "no_load_current": 0.7}
        options.append({"slot": "motor", "name": "other motor", "mass": 10.4, "price": 8.0, **motor})
    return {
        "parts": parts,
        "packs": packs,
        "propellers": propellers,
        **({"part_options": options} if options else {}),
        **MOTOR,
        "scale_resolution": float(rng.choice([0, 0.1, 1])),
        "mass_limit": round(float(rng.uniform(200, 275)), 1),
        "preference": str(rng.choice(["endurance", "thrust-to-weight", "mass-margin", "price"])),
        "ranking_size": 200,
        "controller_rating": float(rng.choice([8, 14, 30])),
        **({"minimum_endurance": round(float(rng.uniform(3, 9)), 1)} if rng.random() < 0.4 else {}),
        **({"minimum_thrust_to_weight": round(float(rng.uniform(3, 8)), 1)} if rng.random() < 0.4 else {}),
        **({"maximum_price": round(float(rng.uniform(5, 60)))} if rng.random() < 0.4 else {}),
        **({"mean_power": 60.0, "mass_exponent": 1.2} if rng.random() < 0.3 else {}),
    }


def evaluate(calculator: Any, inputs: dict[str, Any]) -> Outcome:
    """Evaluate one request without ranges. Raises AssertionError if it is invalid."""
    outcome = evaluate_columns(calculator, {name: [value] for name, value in inputs.items()}, 1, text=False, draws=0)
    assert not outcome.errors, outcome.errors
    return outcome


@dataclass(frozen=True)
class BuiltSet:
    """One set of options as a craft of its own."""

    changes: str
    swaps: int
    mass: float
    margin: float
    endurance: float
    thrust_to_weight: float
    price: float
    is_feasible: bool
    is_under: bool

    @property
    def objectives(self) -> tuple[float, float, float, float]:
        """Values that should be large."""
        return self.endurance, self.thrust_to_weight, self.margin, -self.price


def build_all(inputs: dict[str, Any]) -> list[BuiltSet]:
    """Return all sets, each built by `build` from a parts list in which the replaced parts are other ones."""
    slots = list(dict.fromkeys(option["slot"] for option in inputs.get("part_options", [])))
    named = {part["name"] for part in inputs["parts"]}
    choices: list[list[Any]] = [list(inputs["packs"]), list(inputs["propellers"])]
    choices += [
        [*([None] if slot in named else []), *(each for each in inputs["part_options"] if each["slot"] == slot)]
        for slot in slots
    ]
    return [_build(inputs, slots, picked, choices) for picked in itertools.product(*choices)]


def _build(inputs: dict[str, Any], slots: list[str], picked: tuple[Any, ...], choices: list[list[Any]]) -> BuiltSet:
    pack, propeller, *options = picked
    own = {slot: option for slot, option in zip(slots, options, strict=True) if option is not None}
    parts = [dict(part) for part in inputs["parts"]]
    single: dict[str, Any] = {}
    price = pack["price"] + 4 * propeller.get("price", 0)
    for slot, option in own.items():
        part = next((each for each in parts if each["name"] == slot), None)
        count = part.get("count", 1) if part else 1
        if part:
            part["mass"] = option["mass"]
        else:
            parts.append({"name": slot, "mass": option["mass"]})
        single |= {name: option[name] for name in ("kv", "motor_resistance", "no_load_current") if name in option}
        price += count * option["price"]
    skip = ("part_options", "preference", "ranking_size", "minimum_", "maximum_")
    craft = {name: value for name, value in inputs.items() if not name.startswith(skip)}
    craft |= {"parts": parts, "packs": [_strip(pack)], "propellers": [_strip(propeller)], **single}
    if "mean_power" in inputs:  # that of the present set, which is another mass: carried over by hand below
        craft |= _carry_power(inputs, craft)
    row = evaluate(BUILD, craft).results.by_setup
    mass, margin = float(row.mass[0, 0]), float(row.mass_margin[0, 0])
    endurance = float(row.endurance[0, 0])
    is_under = bool(row.verdict[0, 0] == weighing.UNDER)
    thrust_to_weight = float(row.capped_thrust[0, 0]) / (mass * constants.STANDARD_GRAVITY)
    checks = [
        is_under,
        endurance >= inputs.get("minimum_endurance", 0) * 60,
        thrust_to_weight >= inputs.get("minimum_thrust_to_weight", 0),
        not row.discharge_rating_share[0, 0] > 1,
        not row.controller_rating_share[0, 0] > 1,
        price <= inputs.get("maximum_price", np.inf),
        np.isfinite(row.hover_power[0, 0] * thrust_to_weight),
    ]
    firsts = [choices[0][0], choices[1][0], *(each[0] for each in choices[2:])]
    names = [
        f"{prefix}{new['name']}"
        for prefix, new, old in zip(["pack ", "propeller ", *[""] * len(slots)], picked, firsts, strict=True)
        if new is not old and new is not None
    ]
    changes = ", ".join(names) or "as it is"
    return BuiltSet(
        changes, len(names), mass, margin, endurance, thrust_to_weight, price, all(map(bool, checks)), is_under
    )


def _strip(row: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name != "price"}


def _carry_power(inputs: dict[str, Any], craft: dict[str, Any]) -> dict[str, Any]:
    """Return the average power of a set: the given one, by mass^x and by hover power with its motors and propellers."""
    plain = {name: value for name, value in craft.items() if name not in ("mean_power", "mass_exponent")}
    slots = {option["slot"]: option for option in reversed(inputs.get("part_options", []))}
    named = {part["name"] for part in inputs["parts"]}
    own_parts = [dict(part) for part in inputs["parts"]]
    own_parts += [{"name": slot, "mass": option["mass"]} for slot, option in slots.items() if slot not in named]
    present = plain | {
        "parts": own_parts,
        "packs": [_strip(inputs["packs"][0])],
        "propellers": [_strip(inputs["propellers"][0])],
    }
    present |= MOTOR
    row = evaluate(BUILD, plain).results.by_setup
    present_mass = evaluate(BUILD, present).results.by_setup.mass[0, 0]
    # The present motors and propellers lifting this set, on its pack.
    motors = plain | MOTOR | {"propellers": present["propellers"]}
    extra = row.mass[0, 0] - evaluate(BUILD, motors).results.by_setup.mass[0, 0]
    motors["setups"] = [{"added_mass": float(extra * 1000)}]
    other = evaluate(BUILD, motors).results.by_setup
    ratio = row.hover_power[0, 0] / other.hover_power[0, 0]
    power = inputs["mean_power"] * (row.mass[0, 0] / present_mass) ** inputs["mass_exponent"] * ratio
    return {"mean_power": float(power), "mass_exponent": inputs["mass_exponent"]}
