"""What a pack holds: label energy, and the two limits of air travel."""

from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import calculate


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("pack-energy", **inputs)["results"]
    return found


@pytest.mark.parametrize(
    ("inputs", "expected"),
    [
        pytest.param(
            # By hand: 6 x 3.7 = 22.2 V; x 1.3 Ah = 28.86 Wh; less 20 % = 23.088 Wh and 1040 mAh.
            {"cells": 6, "capacity": 1300},
            {
                "nominal_voltage": 22.2,
                "nominal_energy": 28.86,
                "usable_energy": 23.088,
                "usable_charge": 1040,
                "full_voltage": 25.2,
                "cutoff_voltage": 19.8,
                "cell_capacity": 1300,
                "total_cells": 6,
            },
            id="six-lipo-cells",
        ),
        pytest.param(
            # By hand: 4 x 3.8 = 15.2 V, full 4 x 4.35 = 17.4 V; x 0.85 Ah = 12.92 Wh; over 0.095 kg = 136 Wh/kg.
            {"cells": 4, "capacity": 850, "chemistry": "lihv", "reserve": 0, "pack_mass": 95},
            {
                "nominal_voltage": 15.2,
                "full_voltage": 17.4,
                "nominal_energy": 12.92,
                "usable_energy": 12.92,
                "specific_energy": 136,
            },
            id="lihv-weighed-no-reserve",
        ),
        pytest.param(
            # By hand: 6 x 2 = 12 cells of 8.4 / 2 = 4.2 Ah; 21.6 V x 8.4 Ah = 181.44 Wh: parallel adds no energy of its
            # own, as the capacity is the whole pack's.
            {"cells": 6, "parallel_cells": 2, "capacity": "8.4 Ah", "chemistry": "li-ion", "reserve": 10},
            {"total_cells": 12, "cell_capacity": 4200, "nominal_energy": 181.44, "usable_energy": 163.296},
            id="two-in-parallel",
        ),
        pytest.param(
            # By hand: 1 x 3.2 V x 1 Ah.
            {"cells": 1, "capacity": "3600 As", "chemistry": "lifepo4", "reserve": 50},
            {"nominal_energy": 3.2, "usable_energy": 1.6, "full_voltage": 3.6, "cutoff_voltage": 2.5},
            id="one-iron-cell-in-coulombs",
        ),
    ],
)
def test_by_hand(inputs: dict[str, Any], expected: dict[str, Any]) -> None:
    """Nominal, full and cut-off voltages per cell: a rule of thumb without a source. Results have 12 digits."""
    found = results(**inputs)
    assert {name: found[name] for name in expected} == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize(
    ("inputs", "expected"),
    [
        # Published (as remembered): 49 CFR 175.10(a)(18): up to 100 Wh freely, above 100 to 160 Wh with approval.
        # By hand: 5 x 3.2 V = 16 V, so 6.25 Ah is 100 Wh and 10 Ah is 160 Wh, exactly.
        pytest.param({"cells": 5, "capacity": "6.25 Ah"}, "carry-on", id="100-Wh-exactly"),
        pytest.param({"cells": 5, "capacity": "6.2501 Ah"}, "airline-approval", id="just-above-100-Wh"),
        pytest.param({"cells": 5, "capacity": "10 Ah"}, "airline-approval", id="160-Wh-exactly"),
        pytest.param({"cells": 5, "capacity": "10.0001 Ah"}, "not-in-baggage", id="just-above-160-Wh"),
        # 10 x 3.2 V x 3.125 Ah = 100 Wh by another way round the floating-point sums.
        pytest.param({"cells": 10, "capacity": "3125 mAh"}, "carry-on", id="100-Wh-by-another-product"),
    ],
)
def test_baggage(inputs: dict[str, Any], expected: str) -> None:
    assert results(chemistry="lifepo4", **inputs)["baggage"] == expected


@given(st.integers(1, 24), st.floats(1.0, 1e5), st.floats(0.0, 99.0), st.sampled_from(["lipo", "lihv", "li-ion"]))
def test_scaling_laws(cells: int, capacity: float, reserve: float, chemistry: str) -> None:
    """Energy is proportional to cells and to capacity, and the reserve takes its share of energy and charge alike."""
    one = results(cells=1, capacity=capacity, reserve=reserve, chemistry=chemistry)
    many = results(cells=cells, capacity=capacity, reserve=reserve, chemistry=chemistry)
    assert many["nominal_energy"] == pytest.approx(cells * one["nominal_energy"], rel=1e-11)
    assert many["usable_energy"] == pytest.approx(many["nominal_energy"] * (1 - reserve / 100), rel=1e-11)
    assert many["usable_charge"] == pytest.approx(capacity * (1 - reserve / 100), rel=1e-11)
    assert many["cutoff_voltage"] < many["nominal_voltage"] < many["full_voltage"]


@given(st.floats(1.0, 1e5), st.floats(1.001, 10.0))
def test_more_capacity_holds_more_and_travels_no_easier(capacity: float, factor: float) -> None:
    """Monotonic."""
    ranks: Final = ("carry-on", "airline-approval", "not-in-baggage")
    less, more = results(cells=6, capacity=capacity), results(cells=6, capacity=capacity * factor)
    assert more["usable_energy"] > less["usable_energy"]
    assert ranks.index(more["baggage"]) >= ranks.index(less["baggage"])


def test_no_specific_energy_without_a_mass() -> None:
    """No answer, and the reason names the input that is lacking; with a mass there is neither."""
    without = calculate("pack-energy", cells=6, capacity=1300)
    assert without["results"]["specific_energy"] is None
    assert [c["results"] for c in without["cautions"] if c["code"] == "needs-input"] == [["specific_energy"]]
    assert any(c["text"] == "Specific energy requires pack mass." for c in without["cautions"])
    weighed = calculate("pack-energy", cells=6, capacity=1300, pack_mass=210)
    assert "needs-input" not in {c["code"] for c in weighed["cautions"]}


def test_always_says_what_a_pack_can_do() -> None:
    assert {"lithium-fire", "ask-airline"} <= {
        c["code"] for c in calculate("pack-energy", cells=1, capacity=1)["cautions"]
    }
