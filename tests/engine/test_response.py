"""Responses built from outcomes."""

import json
from collections.abc import Iterator
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.calculate import get_calculator
from gramwatt.engine.column_types import ABSENT
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.engine.response import build_response
from gramwatt.model import Calculator, Example

EXAMPLES: Final = [
    pytest.param(calculator, example, id=f"{name}: {example.title}")
    for name, calculator in registry.load().items()
    for example in calculator.examples
]


def evaluate_example(calculator: Calculator[Any, Any], example: Example) -> Outcome:
    return evaluate_columns(calculator, {name: [value] for name, value in example.given.items()}, 1, text=False)


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES)
def test_a_response_is_json_of_at_most_twelve_digits(calculator: Calculator[Any, Any], example: Example) -> None:
    """Finite numbers only, whole ones without a point; every name in its place."""
    response = calculate(calculator.name, working=True, **dict[str, Any](example.given))
    assert json.loads(json.dumps(response, allow_nan=False)) == response
    for value in numbers({"given": response["inputs"], "results": response["results"]}):
        assert float(f"{value:.12g}") == value
        assert isinstance(value, int) or not value.is_integer()
    assert list(response["results"]) == list(calculator.result_fields)
    assumed = {name.partition(".")[0] for name in response["assumed"]}
    assert assumed <= set(response["inputs"]) <= set(calculator.input_fields)


def numbers(value: Any) -> Iterator[int | float]:
    """Every number in a JSON value."""
    if isinstance(value, dict | list):
        for each in value.values() if isinstance(value, dict) else value:
            yield from numbers(each)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield value


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES)
def test_given_inputs_sent_again_give_the_same_results(calculator: Calculator[Any, Any], example: Example) -> None:
    """Round trip: the ``given`` inputs of a response, sent as the next request, give the same results.

    To 1e-11 as the values in between were rounded to 12 digits.
    """
    first = calculate(calculator.name, **dict[str, Any](example.given))
    second = calculate(calculator.name, **with_recordings(first["given"], example.given))
    results, again = (dict(leaves(response["results"])) for response in (first, second))
    assert results.keys() == again.keys()
    for name, value in results.items():
        same = pytest.approx(value, rel=1e-10, abs=1e-10) if isinstance(value, int | float) else value
        assert again[name] == same, name


def with_recordings(echoed: Any, given: Any) -> Any:
    """Return the ``given`` inputs of a response, with the recordings themselves where it only has their size."""
    if isinstance(echoed, list) and isinstance(given, list):
        return [with_recordings(each, other) for each, other in zip(echoed, given, strict=True)]
    if not isinstance(echoed, dict):
        return echoed
    return {
        name: given[name] if name == "log" else with_recordings(value, given.get(name))
        for name, value in echoed.items()
    }


def leaves(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the plain values in lists and tables, by their path."""
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for key, inner in items:
            yield from leaves(inner, f"{name}/{key}")
    else:
        yield name, value


@given(st.floats(1.0, 1e5))
def test_given_is_in_the_declared_unit(capacity: float) -> None:
    """By hand: Ah is 1000 mAh."""
    response = calculate("pack-energy", cells=6, capacity=f"{capacity / 1000:.9f} Ah")
    assert response["inputs"]["capacity"] == pytest.approx(capacity, abs=1e-6, rel=1e-11)
    assert response["input_units"]["capacity"] == "mAh"


def test_a_response_in_a_batch_is_the_single_one() -> None:
    """Also where only its neighbour is uncertain, or has uncertain what this one does not give at all."""
    calculator = get_calculator("pack-current")
    pack: dict[str, Any] = {"cells": 6, "capacity": 1300, "cell_resistance": 8}
    requests: list[dict[str, Any]] = [
        {**pack, "pack_power": 200},
        {**pack, "pack_power": "300 ± 5 W"},
        {**pack, "pack_power": 400, "open_circuit_voltage": "23 ± 0.1 V"},
    ]
    names = dict.fromkeys(name for request in requests for name in request)
    cells = {name: [request.get(name, ABSENT) for request in requests] for name in names}
    together = evaluate_columns(calculator, cells, 3, text=False)
    for row, request in enumerate(requests):
        alone = evaluate_columns(calculator, {name: [value] for name, value in request.items()}, 1, text=False)
        assert build_response(together, row) == build_response(alone, 0), f"row {row}"


def test_units_of_results_are_as_requested() -> None:
    """By hand: 28.86 Wh = 103.896 kJ; 138 Wh/kg and so on stay. Only the results named change."""
    response = calculate("pack-energy", cells=6, capacity=1300, units={"nominal_energy": "kJ", "usable_charge": "Ah"})
    plain = calculate("pack-energy", cells=6, capacity=1300)
    assert response["results"]["nominal_energy"] == pytest.approx(103.896, rel=1e-11)
    assert response["results"]["usable_charge"] == pytest.approx(1.04, rel=1e-11)
    assert response["units"] == {**plain["units"], "nominal_energy": "kJ", "usable_charge": "Ah"}
    assert response["results"]["usable_energy"] == plain["results"]["usable_energy"]
    listed = calculate("mass-margin", masses=[100, 150], units={"running_total_mass": "kg"})
    assert listed["results"]["running_total_mass"] == [0.1, 0.25]


def test_units_convert_results_and_never_inputs() -> None:
    """Of an input that is also a result, too; what was given can be sent again as it is."""
    response = calculate(
        "pack-current",
        cells=6,
        capacity=1300,
        pack_power=200,
        open_circuit_voltage=23,
        units={"open_circuit_voltage": "mV"},
    )
    assert response["units"]["open_circuit_voltage"] == "mV"
    assert response["results"]["open_circuit_voltage"] == 23000
    assert response["input_units"]["open_circuit_voltage"] == "V"
    assert response["inputs"]["open_circuit_voltage"] == response["given"]["open_circuit_voltage"] == 23


def test_every_null_has_exactly_one_reason() -> None:
    """And reasons come first, the standing cautions last."""
    response = calculate("pack-current", cells=6, capacity=1300, pack_power=9000, chemistry="lihv")
    empty = [name for name, value in response["results"].items() if value is None]
    reasons = [name for caution in response["cautions"] for name in caution.get("results", [])]
    assert sorted(reasons) == sorted(empty)
    codes = [caution["code"] for caution in response["cautions"]]
    assert codes[0] == "power-beyond-pack"
    assert codes[-1] == "lithium-fire"
    assert "lihv-extrapolated" in codes


def test_texts_have_their_numbers_filled_in() -> None:
    """To the place of their uncertainty (JCGM 100, 7.2.6)."""
    response = calculate("pack-current", cells=6, capacity=1300, pack_power=700, discharge_rating=20)
    assert not [caution for caution in response["cautions"] if "{" in caution["text"]]
    (text,) = [caution["text"] for caution in response["cautions"] if caution["code"] == "over-discharge-rating"]
    used, standard = (
        response["results"]["discharge_rating_share"],
        response["uncertainty"]["discharge_rating_share"]["standard"],
    )
    assert 10 <= standard < 100, "so that the value is a whole number"
    assert f" {used:.0f} % " in text


def test_no_working_unless_requested() -> None:
    assert "working" not in calculate("pack-energy", cells=6, capacity=1300)
