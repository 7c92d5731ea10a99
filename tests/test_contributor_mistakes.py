"""Mistakes seeded into a calculator, each caught before anything is served.

What a type checker catches (misspelt names, missing results, another calculator's Inputs) is in type_check/.
"""

from __future__ import annotations

import dataclasses
from typing import Annotated, Any

import pytest

from dimensions import wrong_dimensions
from gramwatt.calculators import pack_energy
from gramwatt.calculators.pack_energy import CALCULATOR, Inputs, Results
from gramwatt.engine import registry
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.engine.example_checks import verify
from gramwatt.model import Array, Calculator, Count, DeclarationError, Quantity
from gramwatt.physics import cells


def with_result(name: str, quantity: Quantity) -> Calculator[Any, Any]:
    """pack-energy, with one result declared otherwise."""
    fields = [(field.name, field.type) for field in dataclasses.fields(Results)]
    made = dataclasses.make_dataclass(
        "Tampered", [(n, Annotated[Array, quantity] if n == name else t) for n, t in fields], frozen=True
    )

    def formula(given: Inputs) -> Any:
        """Compute the same."""
        found: Results = CALCULATOR.formula(given)
        return made(**{field.name: getattr(found, field.name) for field in dataclasses.fields(Results)})

    formula.__name__, formula.__module__ = "pack_energy", pack_energy.__name__
    formula.__annotations__ = {"given": Inputs, "return": made}
    return dataclasses.replace(CALCULATOR, results=made, formula=formula)


def test_the_untampered_calculator_passes() -> None:
    same = with_result("usable_energy", Quantity("Wh", "Energy flown.", method="as before"))
    verify(same)
    given = evaluate_columns(same, {"cells": [6], "capacity": [1300]}, 1, text=False).inputs
    assert wrong_dimensions(same, given) == []


def test_a_unit_of_the_wrong_dimension_is_caught_by_the_example() -> None:
    with pytest.raises(DeclarationError, match=r"usable_energy is 23088, expected 23\.088"):
        verify(with_result("usable_energy", Quantity("mAh", "Energy flown.", method="as before")))


def test_a_unit_of_the_wrong_dimension_is_caught_by_the_dimensions() -> None:
    """Also for a result that no example names."""
    wrong = with_result("full_voltage", Quantity("A", "Voltage.", method="`cells * full_cell_voltage`"))
    given = evaluate_columns(wrong, {"cells": [6], "capacity": [1300]}, 1, text=False).inputs
    assert wrong_dimensions(wrong, given) == ["full_voltage"]


def test_a_unit_that_the_table_lacks_is_caught() -> None:
    with pytest.raises(DeclarationError, match="full_voltage: unit 'kV' is not in the table"):
        verify(with_result("full_voltage", Quantity("kV", "Voltage.", method="`cells * full_cell_voltage`")))


def test_a_constant_of_the_wrong_size_is_caught_by_the_example(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cells, "NOMINAL_VOLTAGE", cells.NOMINAL_VOLTAGE * 1.01)
    with pytest.raises(DeclarationError, match="usable_energy"):
        verify(CALCULATOR)


def test_a_hidden_dimensional_number_is_caught_by_the_dimensions(monkeypatch: pytest.MonkeyPatch) -> None:
    """A voltage written as a bare number inside a formula does not follow into other units."""
    given = evaluate_columns(CALCULATOR, {"cells": [6], "capacity": [1300]}, 1, text=False).inputs
    hidden = dataclasses.replace(CALCULATOR, formula=_hidden)
    assert wrong_dimensions(hidden, given) == ["usable_energy"]


def _hidden(given: Inputs) -> Results:
    """pack-energy with 3.7 V folded in."""
    found: Results = CALCULATOR.formula(given)
    return dataclasses.replace(found, usable_energy=given.cells * 3.7 * given.capacity * (1 - given.reserve))


_hidden.__module__ = pack_energy.__name__


@pytest.mark.parametrize(
    ("change", "message"),
    [
        pytest.param({"references": ()}, "references missing", id="no source for a formula"),
        pytest.param({"cautions": ()}, "cautions missing", id="no caution for a lithium pack"),
        pytest.param({"examples": ()}, "examples missing", id="nothing to verify it by"),
        pytest.param(
            {"cautions": (*CALCULATOR.cautions, CALCULATOR.cautions[0])},
            "two cautions have the code lithium-fire",
            id="a caution twice",
        ),
        pytest.param({"results": Inputs}, "the formula does not take", id="another calculator's results"),
    ],
)
def test_a_lacking_declaration_is_caught_on_import(change: dict[str, Any], message: str) -> None:
    with pytest.raises(DeclarationError, match=message):
        dataclasses.replace(CALCULATOR, **change)


def test_a_single_example_is_caught() -> None:
    with pytest.raises(DeclarationError, match="at least two examples with different inputs"):
        verify(dataclasses.replace(CALCULATOR, examples=CALCULATOR.examples[:1]))


def test_reversed_bounds_of_a_count_are_caught_on_import() -> None:
    count = Count("Cells in series.", at_least=24, at_most=1)
    fields = [
        (field.name, Annotated[Array, count] if field.name == "cells" else field.type)
        for field in dataclasses.fields(Inputs)
    ]
    inputs = dataclasses.make_dataclass("Tampered", fields, frozen=True)
    with pytest.raises(DeclarationError, match="cells: at_least 24 is above at_most 1"):
        dataclasses.replace(CALCULATOR, inputs=inputs)


@pytest.mark.parametrize(
    ("file_name", "calculator", "message"),
    [
        pytest.param("pack_energy", None, r"calculators/pack_energy\.py: no CALCULATOR", id="a file without one"),
        pytest.param("pack_enegry", CALCULATOR, r"calculators/pack_enegry\.py: its formula", id="a file misnamed"),
    ],
)
def test_a_file_without_its_calculator_is_named(file_name: str, calculator: object, message: str) -> None:
    with pytest.raises(DeclarationError, match=message):
        registry.check_module(file_name, calculator)
