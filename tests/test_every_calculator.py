"""What must hold for every calculator. A new calculator inherits all of this; nothing here names one."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

import gramwatt
from dimensions import wrong_dimensions
from gramwatt.__main__ import main
from gramwatt.engine import registry
from gramwatt.engine.calculate import compute_response
from gramwatt.engine.column_types import ABSENT
from gramwatt.engine.evaluate import evaluate, evaluate_columns
from gramwatt.engine.example_checks import verify
from gramwatt.engine.formats import OutputOptions, compute_output
from gramwatt.engine.serializers import format_value, serialize_json
from gramwatt.model import (
    Calculator,
    Choice,
    Count,
    Example,
    Flag,
    Kind,
    NumberList,
    Quantity,
    StandardUncertainty,
    Table,
    Text,
    TimeSeries,
    get_fields,
)
from gramwatt.model.units import compatible_units
from gramwatt.web import create_app

CALCULATORS = list(registry.load().values())
EXAMPLES = [(calculator, example) for calculator in CALCULATORS for example in calculator.examples]
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
every_example = pytest.mark.parametrize(
    ("calculator", "example"), EXAMPLES, ids=[f"{calculator.name}: {example.title}" for calculator, example in EXAMPLES]
)
Any_ = Calculator[Any, Any]


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


@every_calculator
def test_its_examples_come_out_and_its_units_are_in_the_table(calculator: Any_) -> None:
    verify(calculator)


@every_calculator
def test_it_names_its_sources_and_cautions(calculator: Any_) -> None:
    for name in calculator.result_fields:
        assert any(name in reference.about or not reference.about for reference in calculator.references), name
    assert any(caution.when is None for caution in calculator.cautions), "a caution that always holds"
    assert all(example.source for example in calculator.examples)


@every_example
def test_all_interfaces_give_the_same_response(calculator: Any_, example: Example, client: FlaskClient) -> None:
    answer = gramwatt.calculate(calculator.name, **dict[str, Any](example.given))
    document = serialize_json(answer)
    url = f"/v1/{calculator.name}"

    assert client.post(url, json=dict(example.given)).data == document
    body = io.BytesIO(json.dumps(dict(example.given)).encode())
    shown = CliRunner().invoke(main, ["calc", calculator.name, "--json", "--body", "-"], input=body)
    assert shown.stdout_bytes == document

    if any(isinstance(calculator.input_fields[name], Table | TimeSeries) for name in example.given):
        return
    words = {name: _word(value) for name, value in example.given.items()}
    query = "&".join(f"{name}={quote(word)}" for name, word in words.items())
    assert client.get(f"{url}?{query}").data == document
    shown = CliRunner().invoke(main, ["calc", calculator.name, "--json", *(f"{n}={w}" for n, w in words.items())])
    assert shown.stdout_bytes == document

    table = client.get(f"{url}?{query}&format=csv&header=names").text
    rows = list(csv.DictReader(io.StringIO(table)))
    tables = calculator.result_tables
    assert len(rows) == max([1, *(len(answer["results"][name]) for name in tables)])
    for name, value in answer["results"].items():
        if name in tables:
            for at, entry in enumerate(value):
                for column, cell in entry.items():
                    assert rows[at][f"{name}.{column}"] == format_value(cell)
        else:
            assert {row[name] for row in rows} == {format_value(value)}
        bare = client.get(f"{url}/{name}?{query}")
        assert bare.text == format_value(value) if value is not None else bare.status_code == 404


def _word(value: object) -> str:
    return ",".join(map(str, value)) if isinstance(value, list) else str(value)


@every_calculator
def test_three_at_once_are_three_alone(calculator: Any_) -> None:
    """Bit for bit. As columns of cells where the calculator has no list or table, else as stacked arrays."""
    given = [example.given for example in calculator.examples]
    requests = [*given, *given, *given][:3]
    if calculator.columnwise:
        names = {name for inputs in requests for name in inputs}
        cells = {name: [inputs.get(name, ABSENT) for inputs in requests] for name in names}
        together = evaluate_columns(calculator, cells, 3, text=False).results
        alone = [
            evaluate_columns(calculator, {n: [v] for n, v in inputs.items()}, 1, text=False).results
            for inputs in requests
        ]
    else:
        one = evaluate_columns(calculator, {n: [v] for n, v in requests[0].items()}, 1, text=False)
        together = evaluate(calculator, _stacked(one.inputs, 3))
        alone = [one.results] * 3
    for row, single in enumerate(alone):
        for (name, many), (_, one) in zip(_arrays(together), _arrays(single), strict=True):
            np.testing.assert_array_equal(many[row], one[0], err_msg=name)


def _arrays(results: Any, prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Return the arrays of results, those of a table among them, by name."""
    for field in dataclasses.fields(results):
        value = getattr(results, field.name)
        if isinstance(value, np.ndarray):
            yield prefix + field.name, value
        else:
            yield from _arrays(value, f"{field.name}.")


def _stacked(value: Any, times: int) -> Any:
    if not isinstance(value, np.ndarray):
        fields = {f.name: _stacked(getattr(value, f.name), times) for f in dataclasses.fields(value)}
        return type(value)(**fields)
    return np.repeat(value, times, axis=0)


@every_calculator
def test_every_input_moves_some_result(calculator: Any_) -> None:
    idle = [
        name
        for name, kind in calculator.input_fields.items()
        if not any(_moves(calculator, example.given, name, kind) for example in calculator.examples)
    ]
    assert not idle, f"{calculator.name}: {idle} move no result of any example"


def _moves(calculator: Any_, given: Mapping[str, object], name: str, kind: Kind) -> bool:
    before = compute_response(calculator, given)["results"]
    if any(
        compute_response(calculator, {**given, name: value})["results"] != before
        for value in _others(kind, given.get(name))
    ):
        return True
    shown = [_form(calculator, given, form.name) for form in calculator.formats]
    return any(
        _form(calculator, {**given, name: value}, form.name) != text
        for value in _others(kind, given.get(name))
        for form, text in zip(calculator.formats, shown, strict=True)
    )


def _form(calculator: Any_, given: Mapping[str, object], form: str) -> bytes:
    return b"".join(compute_output(calculator, given, OutputOptions(form)))


def _others(kind: Kind, current: Any) -> Iterator[object]:
    """Other values that an input may take."""
    match kind:
        case Choice():
            yield from (option for option in kind.options if option != current)
        case Flag():
            yield from (True, False)
        case Count():
            yield from (
                value for value in range(kind.at_least, min(kind.at_most, kind.at_least + 8)) if value != current
            )
        case Quantity():
            low = kind.at_least if kind.above is None else kind.above
            high = kind.at_most if kind.below is None else kind.below
            assert low is not None
            assert high is not None
            yield from (low + (high - low) * share for share in (0.001, 0.01, 0.03, 0.1, 0.3, 0.5, 0.7, 0.9))
        case Text():
            yield from (text for text in kind.like if text != current)
        case TimeSeries():
            log = current or {"time": [0, 1, 2, 3], "voltage": [16, 15, 15, 16], "current": [1, 20, 20, 1]}
            for name in get_fields(kind.row):
                if name in log:
                    yield {**log, name: [None if value is None else 0.9 * value for value in log[name]]}
        case NumberList():
            yield from ([value, *(current or [value])[1:]] for value in _others(kind.item, None))
        case Table():
            row = dict((current or [{}])[0])
            fields = {n: k for n, k in get_fields(kind.row).items() if not isinstance(k, StandardUncertainty | Text)}
            first = {group[0] for group in kind.any_of if not any(n in row for n in group)}
            base = {n: next(_others(k, None)) for n, k in fields.items() if k.is_required or n in first} | row
            for inner, column in fields.items():
                yield from (
                    [{**base, inner: value}, *(current or [{}])[1:]] for value in _others(column, row.get(inner))
                )


@every_example
def test_a_quantity_in_another_unit_gives_the_same_answer(calculator: Any_, example: Example) -> None:
    """Each plain number of an example, in every other unit of its dimension."""
    results = compute_response(calculator, example.given)["results"]
    for name, value in example.given.items():
        kind = calculator.input_fields[name]
        if not isinstance(kind, Quantity) or not isinstance(value, int | float) or kind.unit == "1":
            continue
        known = compatible_units(kind.unit)
        for spelling, unit in known.items():
            number = (known[kind.unit].to_si(value) - unit.offset) / unit.scale
            converted = compute_response(calculator, {**example.given, name: f"{number:.15g} {spelling}"})["results"]
            for result, expected in results.items():
                same = pytest.approx(expected, rel=1e-9, abs=1e-9) if isinstance(expected, int | float) else expected
                assert isinstance(expected, list) or converted[result] == same, f"{result} with {name} in {spelling}"


@every_example
def test_dimensions_hold(calculator: Any_, example: Example) -> None:
    """Proven with Pint: in another coherent system of units the results follow; see dimensions.py."""
    loaded = {name: [value] for name, value in example.given.items()}
    given = evaluate_columns(calculator, loaded, 1, text=False).inputs
    assert wrong_dimensions(calculator, given) == []
