"""Formulas of declarations: the names in them, and what a declaration may not say."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import pytest

from gramwatt.calculators.pack_energy import CALCULATOR
from gramwatt.model import Array, DeclarationError, Quantity, Table
from gramwatt.model.expressions import find_rows_calls, list_names, replace_names


def test_names_in_an_expression() -> None:
    """Numbers with an exponent, functions and pi are no names; a column is one."""
    expression = "1.5e-3 * sum(parts.mass * parts.count) + sqrt(mass) * STANDARD_GRAVITY / pi - max(mass, 2e5)"
    assert list_names(expression) == ("parts.mass", "parts.count", "mass", "STANDARD_GRAVITY")
    assert replace_names("pi * mass**2 / mass_u", lambda name: f"<{name}>") == "pi * <mass>**2 / <mass_u>"


def test_calls_over_rows() -> None:
    """Of one argument; ``max(a, b)`` is none."""
    expression = "2 * sum(a.x - a.y) / max(b.x) + max(c, 1)"
    first, second = find_rows_calls(expression)
    assert (first.function, first.argument, first.is_sum) == ("sum", "a.x - a.y", True)
    assert (second.function, second.argument, second.is_sum) == ("max", "b.x", False)
    assert expression[first.start : first.stop] == "sum(a.x - a.y)"
    assert find_rows_calls("a * b") == ()


@dataclass(frozen=True)
class Row:
    """A row."""

    part: Annotated[Array, Quantity("V", "Part.", method="invented")]


@dataclass(frozen=True)
class Steps:
    """Steps that the tests declare."""

    cell_voltage: Annotated[Array, Quantity("V", "Voltage.", formula="nominal_voltage / cells")]
    pieces: Annotated[Row, Table(Row, "Pieces.")]


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps."""
    return Steps(found.nominal_voltage / given.cells, Row(np.zeros((len(given.cells), 1))))


@dataclass(frozen=True)
class Clash:
    """A step with the name of an input."""

    cells: Annotated[Array, Quantity("1", "Cells.", method="as given")]


def find_clash(given: Any, _: Any) -> Clash:
    """Return the step."""
    return Clash(given.cells)


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        pytest.param({"steps": find_steps}, "no formula names the step cell_voltage", id="step-unused"),
        pytest.param({"steps": find_steps}, "no formula names the step pieces.part", id="column-unused"),
        pytest.param({"steps": find_clash}, "the step cells is an input or a result", id="step-clashes"),
        pytest.param({"steps": None}, "names nominal_cell_voltage, which does not exist", id="name-unknown"),
    ],
)
def test_a_mistake_in_a_declaration_is_named(changes: dict[str, Any], problem: str) -> None:
    with pytest.raises(DeclarationError, match=problem):
        dataclasses.replace(CALCULATOR, **changes)
