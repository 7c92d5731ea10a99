"""No result, and no end of its range, leaves what its declaration calls possible, whatever the inputs."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any, Final

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gramwatt.engine import registry
from gramwatt.engine.draws import DRAWS, FEW_DRAWS
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.engine.response import build_response
from gramwatt.model import Calculator, Choice, Count, Flag, Kind, NumberList, Quantity, Table

CALCULATORS: Final = list(registry.load().values())
QUICK: Final = 25
"""Random requests of each calculator."""
MANY: Final = 10_000 // len(CALCULATORS) + 1
ROUNDING: Final = 1e-9
"""Relative: results have twelve digits, and those of temperatures lose some by their offset."""
SHARES: Final = st.sampled_from([0.0, 0.001, 0.03, 0.3, 2.0])
Any_ = Calculator[Any, Any]
Given = dict[str, Any]


def clip(kind: Quantity, value: float) -> float:
    """Return the nearest value within the bounds of an input, a millionth inside of open ones."""
    low, high = (
        closed if closed is not None else bound + inward * 1e-6 * (abs(bound) or 1.0)
        for closed, bound, inward in ((kind.at_least, kind.above or 0.0, 1), (kind.at_most, kind.below or 0.0, -1))
    )
    return min(max(value, low), high)


@st.composite
def quantities(draw: st.DrawFn, kind: Quantity, near: float) -> float | str:
    """Draw a value up to ten times as much or as little as another one, or any within the bounds; often with a ±."""
    value = clip(kind, near * 10 ** draw(st.floats(-1, 1)))
    if draw(st.integers(0, 3)) == 0:
        value = clip(kind, draw(st.sampled_from([-1, 1, 1, 1])) * 10 ** draw(st.floats(-4, 6)))
    uncertainty = min(abs(value) * draw(SHARES), 1e9)
    if kind.exact or uncertainty == 0:
        return value
    return f"{value:.9g} ± {uncertainty:.3g}" + ("" if kind.unit == "1" else f" {kind.unit}")


@st.composite
def cells(draw: st.DrawFn, kind: Kind, example: Any) -> Any:
    """Draw a value of an input, from that of an example if there is one; None to leave it out."""
    match kind:
        case Quantity():
            default = kind.default if kind.default else clip(kind, 1.0)
            near = example if isinstance(example, int | float) else default
            return draw(quantities(kind, near or default))
        case Count():
            return draw(st.integers(kind.at_least, min(kind.at_most, kind.at_least + 12)))
        case Choice():
            return draw(st.sampled_from(kind.options))
        case Flag():
            return draw(st.booleans())
        case NumberList():
            items = example or [1.0, 2.0]
            return [draw(cells(kind.item, item)) for item in items]
        case Table():
            rows = example or [{} for _ in range(draw(st.integers(1, 2)))]
            return [draw(fields(kind.input_columns, row, kind.any_of)) for row in rows]
        case _:
            return example


@st.composite
def fields(draw: st.DrawFn, kinds: Any, example: Given, groups: Any) -> Given:
    """Draw inputs by their kinds: some as in an example, some changed, some optional ones left out or added."""
    needed = {each for group in groups for each in [name for name in group if name in example] or group[:1]}
    inputs: Given = {}
    for name, kind in kinds.items():
        known = name in example
        fate = draw(st.sampled_from(["keep", "change", "change", "drop"] if known else ["drop", "drop", "add"]))
        if fate == "drop" and (kind.is_required or name in needed):
            fate = "change"
        if fate != "drop":
            value = example[name] if fate == "keep" else draw(cells(kind, example.get(name)))
            inputs |= {} if value is None else {name: value}
    return inputs


@st.composite
def requests(draw: st.DrawFn, calculator: Any_) -> Given:
    """Draw the inputs of a request, from those of an example."""
    example = copy.deepcopy(dict(draw(st.sampled_from(calculator.examples)).given))
    drawn: Given = draw(fields(calculator.input_fields, example, calculator.any_of))
    return leave_out_unknown_names(calculator, drawn)


def leave_out_unknown_names(calculator: Any_, inputs: Given) -> Given:
    """Return the inputs without the names of rows that no row has, or more than one."""
    for path, kind in calculator.row_names.items():
        owner, _, column = path.partition(".")
        names = [row.get("name") for row in inputs.get(kind.of, ())]
        for row in inputs.get(owner, ()) if column else (inputs,):
            if names.count(row.get(column or owner)) != 1:
                row.pop(column or owner, None)
    return inputs


def flatten(name: str, kind: Kind, value: Any) -> Iterator[tuple[str, Quantity, float]]:
    """Yield each number of a result with its kind; a cell without a result has none."""
    if isinstance(kind, Table):
        for row in value or ():
            for column, cell in row.items():
                yield from flatten(f"{name}.{column}", kind.columns[column], cell)
    elif kind.quantity is not None:
        for each in value if isinstance(value, list) else [value]:
            if each is not None:
                yield name, kind.quantity, each


def ends(calculator: Any_, response: dict[str, Any]) -> Iterator[tuple[str, Quantity, float]]:
    """Yield both ends of the range of each number that has one."""
    for name, entry in response.get("uncertainty", {}).items():
        table, _, column = name.rpartition(".")
        kind = calculator.result_fields[table].columns[column] if table else calculator.result_fields[name]
        for end in ("low", "high"):
            yield from flatten(f"{name} ({end})", kind, entry[end])


def find_impossible(calculator: Any_, inputs: Given, draws: int = DRAWS) -> list[str]:
    """Return the results, and the ends of their ranges, that leave what is possible."""
    outcome = evaluate_columns(
        calculator, {name: [value] for name, value in inputs.items()}, 1, text=False, draws=draws
    )
    assert outcome.errors == {}
    response = build_response(outcome, 0)
    values = [
        each
        for name, kind in calculator.result_fields.items()
        for each in flatten(name, kind, response["results"][name])
    ]
    wrong = []
    for name, kind, value in [*values, *ends(calculator, response)]:
        low, high = kind.possible_range
        if not low - ROUNDING * abs(low) <= value <= high + ROUNDING * abs(high):
            wrong.append(f"{name} = {value} {kind.unit}, not from {low:g} to {high:g}")
    return wrong


def check(calculator: Any_, count: int, draws: int) -> None:
    """Check random requests of a calculator; hypothesis shows the simplest one that fails."""

    @settings(max_examples=count, suppress_health_check=list(HealthCheck))
    @given(requests(calculator))
    def is_possible(inputs: Given) -> None:
        assert find_impossible(calculator, inputs, draws) == []

    is_possible()


every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=[each.name for each in CALCULATORS])


@every_calculator
def test_no_result_is_impossible(calculator: Any_) -> None:
    check(calculator, QUICK, DRAWS)


@pytest.mark.heavy
@every_calculator
def test_no_result_of_many_is_impossible(calculator: Any_) -> None:
    """With few draws, which takes a fraction of the time: no draw may leave what is possible."""
    check(calculator, MANY, FEW_DRAWS)


@every_calculator
def test_the_examples_are_possible(calculator: Any_) -> None:
    assert [find_impossible(calculator, dict(each.given)) for each in calculator.examples] == [[]] * len(
        calculator.examples
    )
