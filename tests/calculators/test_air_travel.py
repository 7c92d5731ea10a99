"""air-travel: watt-hours and verdicts by hand, craft documents, cautions and invalid inputs."""

import json
from pathlib import Path
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import InvalidInput, calculate
from gramwatt.charts import calculator_charts
from gramwatt.charts.chart_data import BarRows
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response

CRAFT: Final = Path(__file__).parents[2] / "examples" / "craft" / "craft.json"
SMALL: Final = {"name": "small", "cells": 6, "capacity": 1300}
LARGE: Final = {"name": "large", "cells": 6, "capacity": "6 Ah", "chemistry": "li-ion"}
LIFTER: Final = {"name": "lifter", "cells": 12, "capacity": "5 Ah"}


def answer(*packs: dict[str, Any], **inputs: Any) -> dict[str, Any]:
    return calculate("air-travel", packs=list(packs), **inputs)


def verdict(*packs: dict[str, Any], **inputs: Any) -> str:
    return str(answer(*packs, **inputs)["results"]["travel_verdict"])


def codes(*packs: dict[str, Any], **inputs: Any) -> set[str]:
    return {caution["code"] for caution in answer(*packs, **inputs)["cautions"]}


def test_by_hand() -> None:
    """6 x 3.7 V x 1.3 Ah = 28.86 Wh; 6 x 3.6 V x 6 Ah = 129.6 Wh; 12 x 3.7 V x 5 Ah = 222 Wh.

    2 x 28.86 + 4 x 129.6 + 222 = 798.12 Wh. Of four large ones one is in a device: three spares, two may be approved.
    """
    found = answer({**SMALL, "count": 2}, {**LARGE, "count": 4, "installed_count": 1}, LIFTER)["results"]
    assert found["total_energy"] == pytest.approx(798.12, rel=1e-11)
    assert [row["nominal_energy"] for row in found["by_pack"]] == pytest.approx([28.86, 129.6, 222], rel=1e-11)
    assert [row["baggage"] for row in found["by_pack"]] == ["carry-on", "airline-approval", "not-in-baggage"]
    assert [row["spares"] for row in found["by_pack"]] == [2, 3, 1]
    counts = {
        "pack_count": 7,
        "carry_on_packs": 2,
        "packs_needing_approval": 4,
        "excluded_packs": 1,
        "spares_carried": 4,
        "spares_left_behind": 1,
        "packs_left_behind": 2,
    }
    assert {name: found[name] for name in counts} == counts
    assert found["travel_verdict"] == "leave-some"


@pytest.mark.parametrize(
    ("packs", "inputs", "expected"),
    [
        ([SMALL], {}, "carry-on"),
        ([{**SMALL, "count": 20}], {}, "carry-on"),
        ([{**SMALL, "count": 21}], {}, "airline-approval"),
        ([{**SMALL, "count": 21}], {"passengers": 2}, "carry-on"),
        ([{**SMALL, "count": 5}], {"spare_allowance": 4}, "airline-approval"),
        ([{**LARGE, "count": 2}], {}, "airline-approval"),
        ([{**LARGE, "count": 3}], {}, "leave-some"),
        ([{**LARGE, "count": 3}], {"passengers": 2}, "airline-approval"),
        ([{**LARGE, "count": 3}], {"approved_spare_allowance": 3}, "airline-approval"),
        ([{**LARGE, "count": 3, "installed_count": 1}], {}, "airline-approval"),
        ([SMALL, LIFTER], {}, "leave-some"),
    ],
)
def test_verdicts(packs: list[dict[str, Any]], inputs: dict[str, Any], expected: str) -> None:
    assert verdict(*packs, **inputs) == expected


@given(
    st.integers(1, 24),
    st.floats(100, 20_000),
    st.sampled_from(["lipo", "lihv", "li-ion", "lifepo4"]),
    st.integers(1, 9),
)
def test_same_as_the_energy_of_one_pack(cells: int, capacity: float, chemistry: str, count: int) -> None:
    """Energy and category as in pack-energy; the total is in proportion to the number of packs."""
    pack: dict[str, Any] = {"cells": cells, "capacity": capacity, "chemistry": chemistry}
    single = calculate("pack-energy", **pack)["results"]
    found = answer({**pack, "count": count})["results"]
    assert found["by_pack"][0]["nominal_energy"] == pytest.approx(single["nominal_energy"], rel=1e-11)
    assert found["by_pack"][0]["baggage"] == single["baggage"]
    assert found["total_energy"] == pytest.approx(count * single["nominal_energy"], rel=1e-11)


def test_the_packs_of_a_craft_document() -> None:
    """By hand: 22.2 V x 1.05 Ah, 14.8 V x 1.3 Ah, 22.2 V x 1.3 Ah, 22.2 V x 0.85 Ah."""
    found = calculate("air-travel", craft=json.loads(CRAFT.read_text(encoding="utf-8")))["results"]
    assert [row["nominal_energy"] for row in found["by_pack"]] == pytest.approx([23.31, 19.24, 28.86, 18.87], rel=1e-11)
    assert found["travel_verdict"] == "carry-on"


@pytest.mark.parametrize(
    ("code", "shown", "hidden"),
    [
        ("not-in-baggage", [SMALL, LIFTER], [SMALL, LARGE]),
        ("needs-approval", [LARGE], [SMALL, LIFTER]),
        ("too-many-approved-spares", [{**LARGE, "count": 3}], [{**LARGE, "count": 2}]),
        ("many-spares", [{**SMALL, "count": 21}], [{**SMALL, "count": 20}]),
        ("more-in-devices", [{**SMALL, "count": 1, "installed_count": 2}], [{**SMALL, "installed_count": 1}]),
        ("devices-switched-off", [{**SMALL, "installed_count": 1}], [SMALL]),
    ],
)
def test_cautions(code: str, shown: list[dict[str, Any]], hidden: list[dict[str, Any]]) -> None:
    assert code in codes(*shown)
    assert code not in codes(*hidden)


def test_cautions_name_the_pack_that_they_are_about() -> None:
    texts = {caution["code"]: caution["text"] for caution in answer(SMALL, LARGE, LIFTER)["cautions"]}
    assert texts["needs-approval"].startswith("large: 129.6 Wh ")
    assert texts["not-in-baggage"].startswith("lifter: 222 Wh ")


def test_what_always_holds() -> None:
    assert {"lithium-fire", "ask-airline", "protect-terminals", "label-decides"} <= codes(SMALL)


@pytest.mark.parametrize(
    ("packs", "inputs", "pointer"),
    [
        ([], {}, "/packs"),
        ([{"cells": 6}], {}, "/packs/0/capacity"),
        ([{**SMALL, "count": 0}], {}, "/packs/0/count"),
        ([{**SMALL, "installed_count": -1}], {}, "/packs/0/installed_count"),
        ([{**SMALL, "spares": 2}], {}, "/packs/0/spares"),
        ([SMALL], {"passengers": 0}, "/passengers"),
        ([SMALL], {"approved_spare_allowance": 0.5}, "/approved_spare_allowance"),
    ],
)
def test_errors_name_the_input(packs: list[dict[str, Any]], inputs: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        answer(*packs, **inputs)
    assert [error.pointer for error in raised.value.errors] == [pointer]


@pytest.mark.parametrize(
    ("packs", "limits"),
    [
        ([SMALL], [100]),
        ([LARGE], [100, 160]),
        ([LIFTER], [100, 160]),
    ],
)
def test_the_chart_has_the_limits_that_matter(packs: list[dict[str, Any]], limits: list[float]) -> None:
    """Those that some pack is above, and the next."""
    calculator, given_inputs = registry.get("air-travel"), {"packs": packs}
    outcome = evaluate_request(calculator, given_inputs)
    request = ChartRequest(calculator, given_inputs, False, outcome, build_response(outcome, 0))
    chart = calculator_charts.make_chart(request, calculator.charts[0])
    assert chart is not None
    assert isinstance(chart.body, BarRows)
    assert [place for place, _ in chart.body.columns[0].limits] == limits
    assert f"carry-on 100 Wh{', with' if len(limits) > 1 else '.'}" in chart.description
