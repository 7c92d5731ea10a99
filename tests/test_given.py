"""What a response says was given can be sent again: the same response comes back, byte for byte."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gramwatt.engine import registry
from gramwatt.engine.calculate import compute_response
from gramwatt.engine.given import restore_quantity
from gramwatt.engine.response import get_declared_units
from gramwatt.engine.serializers import serialize_json
from gramwatt.model import AnyCalculator, Kind, NumberList, Quantity, Table, TimeSeries, units

CALCULATORS: Final = registry.load()
CASES: Final = [
    pytest.param(calculator, dict(each.given), id=f"{calculator.name}-{number}")
    for calculator in CALCULATORS.values()
    for number, each in enumerate(calculator.examples, 1)
]
every_example = pytest.mark.parametrize(("calculator", "inputs"), CASES)


def put_recordings_back(
    calculator: AnyCalculator, inputs: Mapping[str, Any], sent: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the inputs of a response with the recordings that were sent, which it only summarises."""
    restored = dict(inputs)
    for name, kind in calculator.input_fields.items():
        if isinstance(kind, TimeSeries) and name in sent:
            restored[name] = sent[name]
        for column, inner in kind.columns.items() if isinstance(kind, Table) else ():
            if isinstance(inner, TimeSeries) and name in sent:
                pairs = zip(restored[name], sent[name], strict=True)
                restored[name] = [{**new, column: old[column]} if column in old else new for new, old in pairs]
    return restored


def assert_reproduced(calculator: AnyCalculator, inputs: Mapping[str, Any], **options: Any) -> dict[str, Any]:
    response = compute_response(calculator, inputs, **options)
    again = put_recordings_back(calculator, response["given"], inputs)
    assert serialize_json(compute_response(calculator, again, **options)) == serialize_json(response)
    assert response["given"].keys() == inputs.keys()
    return response


@every_example
def test_given_reproduces_the_response(calculator: AnyCalculator, inputs: dict[str, Any]) -> None:
    assert_reproduced(calculator, inputs)


@every_example
def test_given_is_in_the_units_of_the_contract_whatever_results_are_in(
    calculator: AnyCalculator, inputs: dict[str, Any]
) -> None:
    declared = get_declared_units(calculator.result_fields)
    others = {name: list(units.compatible_units(unit))[-1] for name, unit in declared.items()}
    shown = assert_reproduced(calculator, inputs, result_units=others, working=True)
    assert shown["given"] == compute_response(calculator, inputs)["given"]
    assert shown["inputs"] == compute_response(calculator, inputs)["inputs"]


@every_example
@pytest.mark.parametrize("uncertain", [False, True], ids=["units", "units and uncertainties"])
def test_given_reproduces_texts_with_units(calculator: AnyCalculator, inputs: dict[str, Any], uncertain: bool) -> None:
    """Each quantity in another unit than that of the contract, and not a round number there."""
    turns = itertools.count()
    texts = {name: rewrite(calculator.input_fields[name], value, turns, uncertain) for name, value in inputs.items()}
    assert_reproduced(calculator, texts)


def rewrite(kind: Kind, value: Any, turns: Iterator[int], uncertain: bool) -> Any:
    if isinstance(kind, Table):
        return [
            {name: rewrite(kind.columns[name], cell, turns, uncertain) for name, cell in row.items()} for row in value
        ]
    if isinstance(kind, NumberList):
        return [rewrite(kind.item, each, turns, uncertain) for each in value]
    if not isinstance(kind, Quantity) or not isinstance(value, int | float):
        return value
    spellings = list(units.compatible_units(kind.unit))
    spelling = spellings[next(turns) % len(spellings)]
    unit = units.get_unit(spelling)
    si = units.get_unit(kind.unit).to_si(value)
    number = float(f"{float(unit.from_si(np.array(si))):.15g}")
    width = f" ± {abs(number) / 300:.4g}" if uncertain and not kind.exact else ""
    if kind.unit == "1":
        return f"{number}{width}" if width else number
    return f"{number}{width} {spelling}"


@every_example
def test_given_reproduces_a_request_with_a_craft(calculator: AnyCalculator, inputs: dict[str, Any]) -> None:
    """The response to what was given has no craft; the rest is the same."""
    response = compute_response(calculator, {"craft": inputs})
    assert response.pop("from_craft") == [name for name in calculator.input_fields if name in response["given"]]
    again = put_recordings_back(calculator, response["given"], inputs)
    assert serialize_json(compute_response(calculator, again)) == serialize_json(response)


def test_what_another_input_replaces_is_given_too() -> None:
    calculator = CALCULATORS["endurance"]
    inputs = {"cells": 6, "capacity": 1300, "mean_power": 200, "cell_resistance": 9, "pack_resistance": 60}
    response = assert_reproduced(calculator, inputs)
    assert response["given"] == inputs
    assert "cell_resistance" not in response["inputs"]


def test_what_was_given_of_an_input_that_is_also_a_result_is_in_its_own_unit() -> None:
    calculator = CALCULATORS["pack-current"]
    inputs = {"cells": 6, "capacity": 1300, "pack_power": 200, "open_circuit_voltage": "23100 ± 50 mV"}
    response = assert_reproduced(calculator, inputs, result_units={"open_circuit_voltage": "mV"})
    assert response["given"]["open_circuit_voltage"] == "23.1 ± 0.05"
    assert response["inputs"]["open_circuit_voltage"] == 23.1
    assert response["results"]["open_circuit_voltage"] == 23100


def test_a_column_of_uncertainties_is_part_of_its_quantity() -> None:
    """Given twice, they count as independent: sqrt(0.3² + 0.4²) = 0.5."""
    calculator = CALCULATORS["mass-margin"]
    inputs = {"parts": [{"mass": "33 ± 0.3 g", "mass_u": 0.4}, {"mass": 100}], "mass_limit": 250}
    response = compute_response(calculator, inputs)
    assert response["given"]["parts"] == [{"mass": "33 ± 0.5"}, {"mass": 100}]
    assert serialize_json(compute_response(calculator, response["given"])) == serialize_json(response)


QUANTITIES: Final = [
    Quantity("mAh", "", at_least=0, at_most=1e12),
    Quantity("degC", "", at_least=-1000, at_most=1e12),
    Quantity("g", "", at_least=0, at_most=1e12),
    Quantity("rpm/V", "", at_least=0, at_most=1e12),
    Quantity("in", "", at_least=0, at_most=1e12),
]


@pytest.mark.parametrize("kind", QUANTITIES, ids=lambda kind: str(kind.unit))
@settings(max_examples=150, deadline=None)
@given(number=st.floats(1e-9, 1e9), turn=st.integers(0, 40), width=st.floats(1e-9, 1e6))
@example(number=0.1 + 0.2, turn=0, width=0.1)
def test_any_number_comes_back_bit_for_bit(kind: Quantity, number: float, turn: int, width: float) -> None:
    spellings = list(units.compatible_units(kind.unit))
    value, uncertainty = kind.parse(f"{number!r} ± {width!r} {spellings[turn % len(spellings)]}", text=False)
    assert uncertainty is not None
    assert kind.parse(restore_quantity(kind, value, uncertainty), text=False) == (value, uncertainty)
    alone = restore_quantity(kind, value)
    assert kind.parse(alone, text=False) == (value, None)
    (column,), valid = kind.convert_numbers(np.array([number]), units.get_unit(spellings[turn % len(spellings)]))
    assert (float(column), bool(valid)) == (value, True), "as in a table"


def test_a_number_next_to_a_bound_stays_within() -> None:
    """The smallest double in grams is 0 in kilograms, which is out of bounds; so is what rounds to the bound itself."""
    above = Quantity("g", "", above=0, at_most=1e6)
    value, _ = above.parse(5e-324, text=False)
    assert value == 0
    assert restore_quantity(above, value) == 5e-324
    below = Quantity("%", "", at_least=0, below=100)
    value, _ = below.parse(math.nextafter(100, 0), text=False)
    assert below.parse(restore_quantity(below, value), text=False) == (value, None)


def test_a_number_is_as_short_as_it_was() -> None:
    kind = Quantity("mAh", "", at_least=0, at_most=1e6)
    for text, number in (("1.3 Ah", 1300), ("0.55 Ah", 550), ("1050.7 mAh", 1050.7)):
        assert restore_quantity(kind, kind.parse(text, text=False)[0]) == number
