"""A build's figures are those of the single calculators, for the same inputs."""

from typing import Any, Final

import numpy as np
import pytest

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.draws import FEW_DRAWS
from gramwatt.engine.evaluate import evaluate_columns


def si(calculator: str, **inputs: Any) -> Any:
    """Results as SI arrays, unrounded."""
    outcome = evaluate_columns(
        registry.load()[calculator], {name: [value] for name, value in inputs.items()}, 1, text=False
    )
    assert outcome.errors == {}
    return outcome.results


PACKS: Final[list[dict[str, Any]]] = [
    {"name": "four", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 8, "discharge_rating": 100},
    {"name": "six", "cells": 6, "capacity": 1050, "mass": 197, "cell_resistance": 11, "lead_resistance": 4},
    {"name": "lihv", "cells": 3, "capacity": 2200, "mass": 160, "cell_resistance": 5, "chemistry": "lihv"},
    {"name": "round", "cells": 6, "capacity": 3000, "mass": 420, "cell_resistance": 20, "chemistry": "li-ion"},
]
DRIVE: Final[dict[str, Any]] = {
    "kv": 2300,
    "diameter": 5.1,
    "pitch": 4.1,
    "blades": 2,
    "motors": 6,
    "controller_rating": 40,
    "figure_of_merit": 0.62,
    "kv_deficit": 4,
    "air_density": 1.1,
    "avionics_power": 7,
    "bench_speed": 21000,
    "bench_thrust": 480,
}
STATE: Final[dict[str, Any]] = {"pack_temperature": 12, "activation_energy": 25}
PARTS: Final = [{"name": "frame", "mass": 98.4}, {"name": "motor", "mass": "31.5 ± 0.2 g", "count": 6}]
WEIGHED: Final[dict[str, Any]] = {"mass_limit": 560, "limit_comparison": "at-most", "scale_resolution": 0.5}
WHOLE: Final[dict[str, Any]] = {
    **DRIVE,
    **STATE,
    **WEIGHED,
    "parts": PARTS,
    "dry_mass": 61.2,
    "packs": PACKS,
    "reserve": 15,
    "throttle_cap": 70,
    "state_of_charge": 90,
}

PACK_KEYS: Final = ("cells", "capacity", "chemistry", "cell_resistance", "lead_resistance")


def of_pack(at: int, *more: str) -> dict[str, Any]:
    return {name: PACKS[at][name] for name in (*PACK_KEYS, *more) if name in PACKS[at]}


each_pack = pytest.mark.parametrize("at", range(len(PACKS)), ids=[str(each["name"]) for each in PACKS])


@each_pack
def test_full_throttle_and_hover_are_those_of_full_throttle(at: int) -> None:
    """Same inputs; 1e-12, because sums are grouped differently."""
    answer = si("build", **WHOLE).by_setup
    inputs = {**DRIVE, **STATE, **of_pack(at, "discharge_rating"), "state_of_charge": 90}
    inputs["mass"] = f"{answer.mass[0, at]:.17g} kg"
    full, capped = si("full-throttle", **inputs), si("full-throttle", **inputs, throttle_cap=70)
    hover = si("full-throttle", **inputs, throttle_cap=f"{full.hover_throttle[0]:.17g} fraction")
    for mine, single in (
        (answer.thrust, full.thrust),
        (answer.thrust_to_weight, full.thrust_to_weight),
        (answer.pack_current, full.pack_current),
        (answer.hover_throttle, full.hover_throttle),
        (answer.hover_power, full.hover_power),
        (answer.hover_power, hover.pack_power),
        (answer.capped_thrust, capped.thrust),
        (answer.capped_pack_current, capped.pack_current),
        (answer.capped_cell_voltage, capped.loaded_cell_voltage),
        (answer.c_rate, capped.c_rate),
        (answer.discharge_rating_share, capped.discharge_rating_share),
        (answer.controller_rating_share, capped.controller_rating_share),
    ):
        np.testing.assert_allclose(mine[0, at], single[0], rtol=1e-12)


@each_pack
def test_margin_is_that_of_mass_margin(at: int) -> None:
    """The parts, the rest weighed in one go, and the pack as three kinds of part."""
    answer = si("build", **WHOLE).by_setup
    parts = [*PARTS, {"mass": 61.2}, {"mass": PACKS[at]["mass"]}]
    alone = si("mass-margin", **WEIGHED, parts=parts)
    assert answer.mass[0, at] == pytest.approx(alone.total_mass[0], rel=1e-12)
    assert answer.mass_margin[0, at] == pytest.approx(alone.mass_margin[0], rel=1e-9)
    assert answer.verdict[0, at] == alone.verdict[0]
    assert answer.probability_under_limit[0, at] == pytest.approx(alone.probability_under_limit[0], rel=1e-9, abs=1e-15)


def test_a_stated_uncertainty_counts_wherever_the_mass_is_given() -> None:
    """By hand: 430 +/- 50 g and 155 g are 15 +/- 50 g under 600 g, too close to call: Phi(0.3) = 61.79 %, whether given
    as a part or as dry_mass; and as mass-margin says.
    """
    inputs = {**DRIVE, "packs": PACKS[:1], "mass_limit": 600, "scale_resolution": 0}
    rough: dict[str, Any] = {"mass": "430 ± 50 g"}
    alone = si("mass-margin", parts=[rough, {"mass": 155}], mass_limit=600, scale_resolution=0)
    assert alone.probability_under_limit[0] == pytest.approx(0.6179, abs=5e-5)
    for mass in ({"parts": [rough]}, {"dry_mass": rough["mass"]}):
        answer = si("build", **inputs, **mass).by_setup
        assert answer.probability_under_limit[0, 0] == pytest.approx(alone.probability_under_limit[0], rel=1e-9)
        assert answer.verdict[0, 0] == alone.verdict[0]


@each_pack
def test_endurance_is_that_of_endurance(at: int) -> None:
    answer = si("build", **WHOLE).by_setup
    power = f"{answer.mean_power[0, at]:.17g} W"
    alone = si("endurance", **STATE, **of_pack(at), mean_power=power, start_state_of_charge=90, reserve=15)
    assert answer.endurance[0, at] == pytest.approx(alone.endurance[0], rel=1e-12)
    assert answer.ended_by[0, at] == alone.ended_by[0]
    energy = si("pack-energy", **{n: v for n, v in of_pack(at).items() if n in ("cells", "capacity", "chemistry")})
    assert answer.nominal_energy[0, at] == pytest.approx(energy.nominal_energy[0], rel=1e-12)


def spread(calculator: str, **inputs: Any) -> Any:
    """Uncertainty in SI units, by as few draws as a build, whose flights may be recordings."""
    cells = {name: [value] for name, value in inputs.items()}
    outcome = evaluate_columns(registry.load()[calculator], cells, 1, text=False, draws=FEW_DRAWS)
    assert outcome.uncertainty is not None
    return outcome.uncertainty


@each_pack
def test_uncertainty_is_that_of_full_throttle(at: int) -> None:
    """Where the packs' resistances are given, ranges are those of the single calculator: a name has the same draws."""
    whole = {**WHOLE, "throttle_cap": 100, "scale_resolution": 0, "parts": [{"mass": 98.4}], "dry_mass": 61.2}
    mass = f"{98.4 + 61.2 + PACKS[at]['mass']:.17g} g"
    mine = spread("build", **whole)
    alone = spread("full-throttle", **DRIVE, **STATE, **of_pack(at), state_of_charge=90, mass=mass)
    for column, result in {
        "thrust": "thrust",
        "pack_current": "pack_current",
        "thrust_to_weight": "thrust_to_weight",
        "hover_power": "hover_power",
        "hover_throttle": "hover_throttle",
        "controller_rating_share": "controller_rating_share",
    }.items():
        for part in ("standard", "low", "high"):
            found = getattr(mine, part)[f"by_setup.{column}"][0, at]
            assert found == pytest.approx(getattr(alone, part)[result][0], rel=1e-9)


def test_every_column_has_its_working() -> None:
    """All but the name of the pack, which is no result of a formula."""
    answer = calculate("build", working=True, dry_mass=350, packs=PACKS, **DRIVE)
    steps = {step["name"]: step for step in answer["working"]["steps"]}
    columns = set(answer["results"]["by_setup"][0]) - {"name"}
    assert {f"by_setup.{column}" for column in columns} <= set(steps)
    assert steps["by_setup.endurance"]["method"].startswith("as in endurance")
