"""Evaluation of requests: defaults, inputs that replace others, batches, and all errors reported at once."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.engine import registry
from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, compute_response, format_error, get_calculator
from gramwatt.engine.column_types import ABSENT
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.model import (
    Array,
    Assumption,
    BarChart,
    BoolArray,
    Calculator,
    Caution,
    Choice,
    Example,
    Flag,
    IndexArray,
    Quantity,
    Reference,
    Text,
)

PACK: Final[dict[str, Any]] = {"cells": 6, "capacity": 1300, "pack_power": 200}
FLIGHT: Final[dict[str, Any]] = {"cells": 6, "capacity": 1300, "mean_power": 200}
REQUESTS: Final[dict[str, list[dict[str, Any]]]] = {
    "pack-energy": [
        {"cells": 6, "capacity": 1300},
        {"cells": 4, "capacity": "850 ± 20 mAh", "chemistry": "lihv", "pack_mass": "95 g", "reserve": 10},
        {"cells": 1, "capacity": 250, "chemistry": "lifepo4", "parallel_cells": 2},
    ],
    "pack-current": [
        PACK,
        {**PACK, "open_circuit_voltage": "23.1 ± 0.1 V", "discharge_rating": 100, "pack_temperature": 5},
        {**PACK, "pack_power": 9000, "chemistry": "li-ion", "cell_resistance": 20},
    ],
    "endurance": [
        FLIGHT,
        {**FLIGHT, "mean_power": "400 ± 10 W", "cutoff_cell_voltage": 3.5, "chemistry": "lihv", "pack_temperature": 0},
        {"cells": 1, "capacity": 250, "mean_power": 30, "cell_resistance": 90, "cutoff_cell_voltage": 1, "reserve": 0},
    ],
    "throttle-cap": [
        {"kv": 2400, "cells": 6, "target_cells": 4},
        {"kv": "1950 ± 40 rpm/V", "cells": 6, "target_no_load_tip_mach": 0.6, "diameter": 5.1},
        {"kv": 2400, "cells": 4, "chemistry": "lihv"},
    ],
}


def columns_of(requests: list[dict[str, Any]]) -> dict[str, list[Any]]:
    names = dict.fromkeys(name for request in requests for name in request)
    return {name: [request.get(name, ABSENT) for request in requests] for name in names}


def batch(name: str, requests: list[dict[str, Any]]) -> Outcome:
    return evaluate_columns(get_calculator(name), columns_of(requests), len(requests), text=False)


def pointers(outcome: Outcome, row: int) -> list[str]:
    return [error.pointer for error in outcome.errors.get(row, ())]


# Defaults


def test_defaults_are_filled_in_and_named() -> None:
    """By definition, pack-energy declares parallel 1, lipo, reserve 20 %; pack_mass has no default and is not named."""
    response = compute_response(get_calculator("pack-energy"), {"cells": 6, "capacity": 1300})
    assert response["assumed"] == ["parallel_cells", "chemistry", "reserve"]
    assert {name: response["inputs"][name] for name in response["assumed"]} == {
        "parallel_cells": 1,
        "chemistry": "lipo",
        "reserve": 20,
    }
    assert "pack_mass" not in response["inputs"]


def test_a_default_that_is_given_is_not_assumed() -> None:
    """And changes nothing."""
    bare = compute_response(get_calculator("pack-energy"), {"cells": 6, "capacity": 1300})
    explicit = compute_response(
        get_calculator("pack-energy"),
        {"cells": 6, "capacity": 1300, "reserve": "20 %", "chemistry": "lipo", "parallel_cells": 1},
    )
    assert explicit["assumed"] == []
    assert explicit["results"] == bare["results"]


def test_a_default_may_depend_on_other_inputs() -> None:
    """By hand: 15 mohm Ah / 2.6 Ah = 5.769 mohm."""
    response = compute_response(get_calculator("pack-current"), {**PACK, "capacity": "2.6 Ah"})
    assert response["inputs"]["cell_resistance"] == pytest.approx(15 / 2.6, rel=1e-11)
    assert "cell_resistance" in response["assumed"]


def test_what_replaces_others_voids_their_defaults_and_values_by_row() -> None:
    """open_circuit_voltage replaces state_of_charge in the rows that give it, and only there."""
    requests = [
        PACK,
        {**PACK, "open_circuit_voltage": 23},
        {**PACK, "open_circuit_voltage": 23, "state_of_charge": 90},
    ]
    outcome = batch("pack-current", requests)
    assert np.isnan(outcome.inputs.state_of_charge).tolist() == [False, True, True]
    assert outcome.assumed["state_of_charge"].tolist() == [True, False, False]
    assert outcome.unused["state_of_charge"].tolist() == [False, False, True]
    np.testing.assert_allclose(outcome.results.open_circuit_voltage, [6 * 3.7926, 23, 23], rtol=1e-12)


# Missing and wrong


def test_one_of_a_group_is_enough_and_none_is_an_error() -> None:
    """mass-margin needs parts or masses; both is fine."""
    for given_ in ({"masses": [1]}, {"parts": [{"mass": 1}]}, {"masses": [1], "parts": [{"mass": 1}]}):
        assert compute_response(get_calculator("mass-margin"), given_)["results"]["total_mass"] > 0
    with pytest.raises(InvalidInput) as exc_info:
        compute_response(get_calculator("mass-margin"), {"mass_limit": 250})
    (error,) = exc_info.value.errors
    assert error.detail == "Give parts or masses"
    assert "parts:" in error.accepted
    assert "masses:" in error.accepted


def test_all_errors_are_in_one_outcome() -> None:
    """Unknown names with near matches, missing ones, and every wrong value: the user fixes all at once."""
    with pytest.raises(InvalidInput) as exc_info:
        compute_response(
            get_calculator("pack-current"),
            {"capasity": 1300, "pack_power": "200 V", "chemistry": "lipp", "cell_resistance": -1, "reserve": 20},
        )
    errors = {error.pointer: error for error in exc_info.value.errors}
    assert set(errors) == {
        "/capasity",
        "/reserve",
        "/cells",
        "/capacity",
        "/pack_power",
        "/chemistry",
        "/cell_resistance",
    }
    assert "did you mean capacity?" in errors["/capasity"].detail
    assert "did you mean lipo" in errors["/chemistry"].detail
    assert errors["/pack_power"].given == "200 V"
    assert "W, kW, mW, hp" in errors["/pack_power"].accepted
    assert errors["/cells"].detail == "cells is required"
    assert len(str(exc_info.value).splitlines()) == len(exc_info.value.errors)
    assert (
        format_error(errors["/cells"]) == "cells: cells is required; accepted: a whole number from 1 to 24, also as 4S"
    )


def test_an_impossible_result_unit_is_one_more_error() -> None:
    with pytest.raises(InvalidInput) as exc_info:
        compute_response(get_calculator("pack-energy"), {"cells": 6}, result_units={"usable_energy": "V"})
    assert [error.pointer for error in exc_info.value.errors] == ["/capacity", "/units"]
    assert "Wh, kWh, mWh, J or kJ" in exc_info.value.errors[1].detail


def test_an_unknown_calculator_names_near_ones() -> None:
    with pytest.raises(UnknownCalculator, match="Did you mean pack-energy"):
        get_calculator("pack-enrgy")
    with pytest.raises(UnknownCalculator, match="mass-margin"):
        get_calculator("zzzzzz")


# Batches


def test_one_row_lacks_an_input() -> None:
    requests = [PACK, {"cells": 6, "capacity": 1300}, PACK]
    outcome = batch("pack-current", requests)
    assert [pointers(outcome, row) for row in range(3)] == [[], ["/pack_power"], []]


def test_every_row_lacks_a_name_that_no_row_gives() -> None:
    """Each row reports it once, though the batch has no such column."""
    outcome = batch("pack-current", [{"cells": 6, "pack_power": 1}, {"cells": 6, "pack_power": 1}])
    assert [pointers(outcome, row) for row in range(2)] == [["/capacity"], ["/capacity"]]
    assert outcome.results is None


@pytest.mark.parametrize("name", REQUESTS)
def test_three_at_once_are_three_singles_bit_for_bit(name: str) -> None:
    """Values, notes and what was assumed; uncertainties but for their last bits."""
    calculator = get_calculator(name)
    together = batch(name, REQUESTS[name])
    assert together.errors == {}
    for row, request in enumerate(REQUESTS[name]):
        alone = evaluate_columns(calculator, {key: [value] for key, value in request.items()}, 1, text=False)
        for result in calculator.result_fields:
            one, many = getattr(alone.results, result), getattr(together.results, result)[row : row + 1]
            np.testing.assert_array_equal(one, many, err_msg=result)
            if (
                alone.uncertainty is not None
                and together.uncertainty is not None
                and result in alone.uncertainty.standard
            ):
                # The sum over draws takes another order, so the last bits may differ.
                np.testing.assert_allclose(
                    alone.uncertainty.standard[result], together.uncertainty.standard[result][row : row + 1], rtol=1e-11
                )
        assert {n.source.code for n in alone.notices} == {n.source.code for n in together.notices if n.rows[row]}
        assert {n for n, v in alone.assumed.items() if v[0]} == {n for n, v in together.assumed.items() if v[row]}


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        (name, wrong)
        for name in REQUESTS
        for wrong, kind in registry.load()[name].input_fields.items()
        if isinstance(kind, Quantity | Choice) or wrong == "cells"
    ],
)
def test_an_invalid_row_leaves_the_others_alone(name: str, wrong: str) -> None:
    """Whichever input is wrong in it: its neighbours have the results they have alone, and it has the error."""
    good = REQUESTS[name]
    outcome = batch(name, [good[0], {**good[0], wrong: "nonsense"}, good[1]])
    assert [pointers(outcome, row) for row in range(3)] == [[], [f"/{wrong}"], []]
    for at, request in ((0, good[0]), (2, good[1])):
        alone = batch(name, [request])
        for result in get_calculator(name).result_fields:
            np.testing.assert_array_equal(
                getattr(alone.results, result), getattr(outcome.results, result)[at : at + 1], err_msg=result
            )


CELLS: Final[list[Any]] = [
    *(ABSENT, None, True, [], {}, "", "x", "lipo", "6 V", "5 ± 1 %", "1 ± 9"),
    *(0, 1, 6, -1, 1e5, 1e-9, 1e300, 10**400, float("nan")),
]


@pytest.mark.parametrize("name", REQUESTS)
@given(data=st.data())
def test_nothing_in_a_request_raises(name: str, data: st.DataObject) -> None:
    """One or two inputs of a valid request may be any of these, right or wrong, beside a valid row.

    The outcome has an error or a result in each row.
    """
    good = REQUESTS[name][0]
    altered = data.draw(
        st.dictionaries(
            st.sampled_from(list(get_calculator(name).input_fields)), st.sampled_from(CELLS), min_size=1, max_size=2
        )
    )
    outcome = batch(name, [good, {**good, **altered}])
    assert 0 not in outcome.errors
    assert outcome.results is not None


# A small calculator of our own


@dataclass(frozen=True, slots=True)
class Inputs:
    """A length, whether to double it, and by which law."""

    length: Annotated[Array, Quantity("m", "Length.", at_least=0, at_most=100)]
    doubled: Annotated[BoolArray, Flag("Whether to double it.")]
    law: Annotated[IndexArray, Choice(("plain", "squared"), "Which law.", optional=True)]
    label: Annotated[Any, Text("What it is.", optional=True)]


@dataclass(frozen=True, slots=True)
class Results:
    """Another length."""

    grown: Annotated[Array, Quantity("m", "Longer.", method="length, doubled if requested")]
    long: Annotated[BoolArray, Flag("Whether above 10 m.", method="grown > 10")]


def grow(given: Inputs) -> Results:
    """Grow a length."""
    grown = np.where(given.doubled, 2 * given.length, given.length)
    return Results(grown=grown, long=grown > 10)


def calculator_of(formula: Any) -> Calculator[Inputs, Results]:
    """Return a calculator with this formula."""
    return Calculator(
        title="How long?",
        summary="Longer.",
        inputs=Inputs,
        results=Results,
        formula=formula,
        assumptions=(Assumption("law", "plain where doubled", lambda g: np.where(g.doubled, 0, -1)),),
        references=(Reference("By hand"),),
        cautions=(Caution("care", "Take care."),),
        examples=(Example("One", given={"length": 1}, expected={"grown": 1}, rtol=1e-12, source="by hand"),),
        charts=(BarChart(("grown",), title="Longer"),),
    )


def test_a_flag_a_text_and_an_assumed_choice() -> None:
    """An assumption of -1 leaves a choice open; a flag is false unless given."""
    calculator = calculator_of(grow)
    both = evaluate_columns(
        calculator, {"length": [6, 6], "doubled": [True, ABSENT], "label": ["rod", ABSENT]}, 2, text=False
    )
    assert both.results.grown.tolist() == [12, 6]
    assert both.results.long.tolist() == [True, False]
    assert both.inputs.law.tolist() == [0, -1]
    assert both.assumed["law"].tolist() == [True, False]
    response = compute_response(calculator, {"length": 6, "label": "rod"})
    assert response["inputs"] == {"length": 6, "doubled": False, "label": "rod"}
    assert response["assumed"] == ["doubled"]
    assert response["results"] == {"grown": 6, "long": False}


def _wrong_shape(given: Inputs) -> Results:
    """One value for many rows."""
    return Results(grown=np.array([1.0, 2.0, 3.0]), long=given.length > 10)


def _scalar(given: Inputs) -> Results:
    """No array at all."""
    return Results(grown=1.0, long=given.length > 10)  # type: ignore[arg-type]


def _wrong_type(given: Inputs) -> Results:
    """Whole numbers for a quantity."""
    return Results(grown=np.array([1, 2]), long=given.length > 10)


def _wrong_result(given: Inputs) -> Results:
    """Something else altogether."""
    return given  # type: ignore[return-value]


@pytest.mark.parametrize(
    ("formula", "named"),
    [
        pytest.param(_wrong_shape, "grown", id="another-number-of-rows"),
        pytest.param(_scalar, "grown", id="a-bare-number"),
        pytest.param(_wrong_type, "grown", id="whole-numbers"),
        pytest.param(_wrong_result, "Inputs", id="not-the-results"),
    ],
)
def test_a_formula_with_a_wrong_result_is_named(formula: Any, named: str) -> None:
    """An error in the calculator, not in the request: there is no response."""
    with pytest.raises(TypeError, match=named):
        evaluate_columns(calculator_of(formula), {"length": [1, 2]}, 2, text=False)
