"""Rested cell voltages against the curves they were taken from."""

import csv
import json
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.model import Array
from gramwatt.physics import cells

GOLDEN: Final[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "golden" / "pybamm.json").read_text(encoding="utf-8")
)
PRINTED: Final = 0.5e-4 * (1 + 1e-6)
"""Half a unit of the last printed digit of the tables, 0.1 mV."""

SETS: Final = (
    pytest.param("lipo", "Ai2020", id="lipo-is-a-lithium-cobalt-oxide-pouch"),
    pytest.param("li-ion", "Chen2020", id="li-ion-is-a-nickel-rich-cell"),
    pytest.param("lifepo4", "Prada2013", id="lifepo4-is-an-iron-phosphate-cell"),
)


def table(chemistry: str) -> Array:
    return np.asarray(cells.OPEN_CIRCUIT_VOLTAGE[cells.CHEMISTRIES.index(chemistry)])


def rested(chemistry: str, charge: float) -> float:
    codes = np.array([cells.CHEMISTRIES.index(chemistry)])
    return float(cells.open_circuit_voltage(codes, np.array([charge]))[0])


@pytest.mark.parametrize(("chemistry", "parameter_set"), SETS)
def test_table_is_the_open_data(reference_data: Path, chemistry: str, parameter_set: str) -> None:
    """Simulated (open dataset cells/ocv_tables.csv, run with pybamm 26.10.1.1 at C/50), every point as printed."""
    with (reference_data / "cells" / "ocv_tables.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        assert rested(chemistry, float(row["soc"])) == pytest.approx(float(row[parameter_set]), abs=PRINTED, rel=0)
    assert len(rows) == table(chemistry).size


@pytest.mark.parametrize(("chemistry", "parameter_set"), SETS)
def test_table_is_the_golden_one(chemistry: str, parameter_set: str) -> None:
    """Golden (PyBaMM 26.10.1.1). A last digit may round the other way between two runs, hence a whole unit of it."""
    case = next(case for case in GOLDEN["thevenin"] if case["parameter_set"] == parameter_set)
    np.testing.assert_allclose(table(chemistry), case["ocv_v"], rtol=0, atol=1e-4 * (1 + 1e-6))


def test_lihv_is_the_extrapolation_it_is_reported_to_be() -> None:
    """Golden (PyBaMM 26.10.1.1, part lihv_ocv), but for the last point, which is set to 4.35 V by hand as the electrode
    data end at 4.29 V.
    """
    golden = GOLDEN["lihv_ocv"]
    np.testing.assert_allclose(table("lihv")[:-1], golden["ocv_v"][:-1], rtol=0, atol=PRINTED)
    assert table("lihv")[-1] == golden["upper_v"] == cells.FULL_VOLTAGE[cells.LIHV]
    assert golden["reached_v"] < golden["upper_v"]


@pytest.mark.parametrize("chemistry", cells.CHEMISTRIES)
def test_ends_of_a_curve(chemistry: str) -> None:
    """By definition: a full cell rests at its full voltage; beyond 0 to 100 % there is no answer."""
    code = cells.CHEMISTRIES.index(chemistry)
    assert rested(chemistry, 1.0) == cells.FULL_VOLTAGE[code]
    assert rested(chemistry, 0.0) == table(chemistry)[0]
    for outside in (-1e-9, 1 + 1e-9, np.nan, np.inf):
        assert np.isnan(rested(chemistry, outside))


@pytest.mark.parametrize("chemistry", cells.CHEMISTRIES)
def test_label_voltages_are_in_order(chemistry: str) -> None:
    """Common practice, no source: cut-off below nominal below full, and the curve lies between empty and full."""
    code = cells.CHEMISTRIES.index(chemistry)
    assert cells.CUTOFF_VOLTAGE[code] < cells.NOMINAL_VOLTAGE[code] < cells.FULL_VOLTAGE[code]
    assert table(chemistry)[0] < cells.CUTOFF_VOLTAGE[code]


@given(st.sampled_from(cells.CHEMISTRIES), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_voltage_rises_with_charge(chemistry: str, one: float, other: float) -> None:
    """Monotonic: a fuller cell never rests lower."""
    low, high = sorted((one, other))
    assert rested(chemistry, low) <= rested(chemistry, high)


@given(st.sampled_from(cells.CHEMISTRIES), st.floats(0.0, 1.0))
def test_between_points_the_curve_is_straight(chemistry: str, charge: float) -> None:
    """Against numpy.interp, an implementation of its own."""
    expected = np.interp(charge, np.linspace(0, 1, 21), table(chemistry))
    assert rested(chemistry, charge) == pytest.approx(expected, rel=1e-12)


def test_half_way_between_two_points() -> None:
    """By hand: lipo between 50 % (3.7926 V) and 55 % (3.8123 V) is 3.80245 V at 52.5 %."""
    assert rested("lipo", 0.525) == pytest.approx(3.80245, rel=1e-12)


def test_usual_resistance() -> None:
    """By hand: 15 mohm Ah over 1.3 Ah is 11.538 mohm; scaling law: twice the capacity, half of it."""
    found = cells.typical_resistance(np.array([1.3 * 3600, 2.6 * 3600]))
    assert found[0] == pytest.approx(0.015 / 1.3, rel=1e-12)
    assert found[1] == pytest.approx(found[0] / 2, rel=1e-12)
