"""The contract says what the service does: what it accepts is valid by the contract, and what is valid it accepts.

What the contract has in words only is in `contract_words`. Every response fits its schema.
"""

from __future__ import annotations

import contextlib
import functools
import itertools
import json
import math
import re
from collections.abc import Iterator, Sequence
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema_rs import Draft202012Validator

from gramwatt.engine import craft_fields, registry
from gramwatt.engine.nested import read_column
from gramwatt.engine.query_strings import find_query_example, fits_query, format_query_value
from gramwatt.engine.response import get_declared_units
from gramwatt.engine.schemas import get_schema_name
from gramwatt.model import (
    AnyCalculator,
    Choice,
    Count,
    Flag,
    Kind,
    NumberList,
    Quantity,
    RowName,
    Table,
    Text,
    TimeSeries,
    units,
)
from gramwatt.model.messages import InputError
from gramwatt.web import create_app
from gramwatt.web.openapi.document import build_document
from web.contract_diff import Side
from web.contract_words import repair_body

CONTRACT = build_document()
SIDE = Side(CONTRACT)
CALCULATORS = list(registry.load().values())
CLIENT = create_app().test_client()
ACCEPTED = {200, 404, 413}
"""404: no result for these inputs; 413: more work than one request may ask for. No schema can say either."""
OUT_OF_BOUNDS = re.compile("Must be |Enter a finite number$|The standard uncertainty after ")
CRAFT_MEMBERS = {craft_fields.MEMBER, *craft_fields.get_choices()}
by_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: str(calculator.name))
few = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))


def find_errors(schema: dict[str, Any], value: object) -> list[str]:
    """Return what is wrong with a value under one of the contract's schemas."""
    return [error.message for error in make_validator(json.dumps(schema)).iter_errors(value)]


@functools.cache
def make_validator(schema: str) -> Draft202012Validator:
    """Return a validator, which reads regular expressions as ECMA 262 has them."""
    return Draft202012Validator({**json.loads(schema), "components": CONTRACT["components"]})


def get_operation(path: str, method: str) -> dict[str, Any]:
    operation: dict[str, Any] = CONTRACT["paths"][path][method]
    return operation


def find_query_errors(path: str, query: Sequence[tuple[str, str]]) -> list[str]:
    """Return what is wrong with a query of a GET. As HTTP has it, a number is text that reads as one."""
    item = CONTRACT["paths"][path]
    parameters = {name: each for (_, name), each in SIDE.parameters(item["get"], item).items()}
    errors = [f"unknown {name}" for name, _ in query if name not in parameters]
    for name in {name for name, _ in query} & parameters.keys():
        parameter = parameters[name]
        texts = [text for each, text in query if each == name]
        schema = SIDE.resolved(parameter["schema"])
        if schema.get("type") == "array":
            entries = texts[0].split(",") if not parameter.get("explode", True) else texts
            errors += [f"{name}: too many"] if len(entries) > schema["maxItems"] else []
            errors += [f"{name}: {entry}" for entry in entries if not is_valid_text(schema["items"], entry)]
        elif len(texts) != 1 or not is_valid_text(schema, texts[0]):
            errors.append(f"{name}: {texts}")
    return errors


def is_valid_text(schema: dict[str, Any], text: str) -> bool:
    """Return whether a text of a query is valid, or the number or truth that it reads as."""
    readings: list[Any] = [text, *([text == "true"] if text in ("true", "false") else [])]
    with contextlib.suppress(ValueError):
        readings.append(float(text))
    return any(not find_errors(schema, reading) for reading in readings)


def list_cells(kind: Kind) -> list[Any]:
    """Return what people may write for an input in JSON, in many forms, valid and not."""
    match kind:
        case Quantity():
            return list(list_quantities(kind))
        case Count():
            low, high = kind.at_least, kind.at_most
            numbers = [low - 1, low, float(low), low + 0.5, high, high + 1]
            return [*numbers, f"{low}S", f"{high}s", f"{high + 1}S", f"{low}", f"{low} S", "S", None, True, []]
        case Choice():
            return [*kind.options, *kind.options, kind.options[0].upper(), "", 1, None]
        case Flag():
            return [True, False, "true", 1, None]
        case Text():
            longest = "x" * kind.max_length
            return [*kind.like, "Motor µ 2,3", longest, f"{longest}x", "", "a\nb", "a\u2028b", "\U0001f681", 5, None]
        case NumberList():
            items = list_cells(kind.item)
            return [[], items[:1], items[:1] * kind.max_length, items[:1] * (kind.max_length + 1), *zip_lists(items), 1]
        case Table():
            rows = [*zip_rows(kind), {}, {"nonsense": 1}, 1]
            return [[], *([row] for row in rows), rows[:1] * (kind.max_length + 1), {}]
    return ["name", "", "x" * 81, 1]


def list_quantities(kind: Quantity) -> Iterator[Any]:
    """Yield numbers at the bounds, within and beyond, and texts of them in every unit."""
    low, high = kind.bounds.list_ends()
    middle = round(low + (high - low) / 100, 3)
    outside = [low - max(1e-9, abs(low) * 1e-9), high + max(1e-9, abs(high) * 1e-9)]
    yield from [middle, middle, low, high, math.nextafter(low, -math.inf), *outside, int(middle), True, None, "", []]
    for unit in [*units.compatible_units(kind.unit), "parsec", ""]:
        yield from [f"{middle} {unit}", f"{middle:.3e}{unit}", f"  {middle:+}\u202f{unit} ", f"{outside[1]} {unit}"]
        yield from [f"{middle}{sign}0.1 {unit}" for sign in ("±", "+/-", " +- ", "/-", "-/+")]
    yield from [f"{middle} ± 1e-2", f"{middle},5 V", "nan", "1e999 g"]


def zip_lists(items: list[Any]) -> list[list[Any]]:
    """Return each item in a list of its own."""
    return [[item] for item in items]


def zip_rows(kind: Table) -> Iterator[dict[str, Any]]:
    """Yield rows of a table in which one column at a time is of every form, and the others are plain."""
    columns = kind.input_columns
    needed = {*(name for name, each in columns.items() if each.is_required), *(group[0] for group in kind.any_of)}
    plain = {name: list_cells(columns[name])[0] for name in columns if name in needed}
    yield plain
    for name, each in columns.items():
        if not isinstance(each, RowName | TimeSeries):
            yield from ({**plain, name: cell} for cell in list_cells(each))
            yield {other: cell for other, cell in plain.items() if other != name}
        if isinstance(each, Quantity):
            yield from ({**plain, f"{name}_u": cell} for cell in (0, 0.5, "1 %", f"0.5 {each.unit}", -1, "x", None))


@by_calculator
def test_each_input_is_read_as_the_contract_says(calculator: AnyCalculator) -> None:
    """At the bounds and beyond, in every form, in lists and tables; names of rows and recordings apart."""
    properties = CONTRACT["components"]["schemas"][get_schema_name(calculator)]["properties"]
    checked = 0
    for name, kind in calculator.input_fields.items():
        for cell in () if isinstance(kind, RowName | TimeSeries) else list_cells(kind):
            errors = read_column(kind, [cell], text=False).errors.get(0, [])
            if not find_errors(properties[name], cell):
                errors = [error for error in errors if not is_text_out_of_bounds(error)]
                assert not errors, (name, cell, errors)
            else:
                assert errors, (name, cell)
            checked += 1
    assert checked > 3


def is_text_out_of_bounds(error: InputError) -> bool:
    """Return whether a text is invalid only for its bounds: they are in another unit, so that no pattern has them."""
    return isinstance(error.given, str) and OUT_OF_BOUNDS.match(error.detail) is not None


@st.composite
def draw_body(draw: st.DrawFn, calculator: AnyCalculator) -> dict[str, Any]:
    """Draw an example of a calculator with a few inputs changed, left out, or in a craft document."""
    body: dict[str, Any] = json.loads(json.dumps(dict(draw(st.sampled_from(calculator.examples)).given)))
    for name in draw(st.lists(st.sampled_from(list(calculator.input_fields)), max_size=3, unique=True)):
        kind = calculator.input_fields[name]
        rows = body.get(getattr(kind, "of", ""), ())
        body[name] = draw(st.sampled_from([*(row["name"] for row in rows if "name" in row), *list_cells(kind)]))
        if name in body and draw(st.integers(0, 9)) == 0:
            del body[name]
    if draw(st.integers(0, 3)) == 0:
        body = {"craft": body, **draw(st.sampled_from([{}, {"pack": "none"}]))}
    elif draw(st.integers(0, 9)) == 0:
        body |= draw(st.sampled_from([{"pack": "x"}, {"nonsense": 1}, {"craft": {}}]))
    return body


def check_response(operation: dict[str, Any], response: Any) -> None:
    """Check the body of a response against the contract."""
    described = operation["responses"].get(str(response.status_code), operation["responses"]["default"])
    schema = SIDE.content(described)[response.mimetype]["schema"]
    assert not find_errors(schema, json.loads(response.data))


@by_calculator
@few
@given(data=st.data())
def test_an_accepted_body_is_valid(calculator: AnyCalculator, data: st.DataObject) -> None:
    """As a request, as what is constant in a sweep, and as a row of a batch, whose errors are its own."""
    body = data.draw(draw_body(calculator))
    path = f"/v1/{calculator.name}"
    operation = get_operation(path, "post")
    response = CLIENT.post(path, json=body)
    check_response(operation, response)
    if response.status_code == 200:
        schema = operation["requestBody"]["content"]["application/json"]["schema"]
        assert not find_errors(schema, body), body
        given_again = response.get_json()["given"]
        assert calculator.takes_recordings or not find_errors(schema, given_again) or "craft" in body


@pytest.mark.parametrize("calculator", [*filter(fits_query, CALCULATORS)], ids=lambda calculator: str(calculator.name))
@few
@given(data=st.data())
def test_an_accepted_query_is_valid(calculator: AnyCalculator, data: st.DataObject) -> None:
    """With options, several units of results among them."""
    inputs = {name: format_query_value(value) for name, value in find_query_example(calculator).items()}
    fitting = [name for name, kind in calculator.input_fields.items() if kind.fits_query]
    for name in data.draw(st.lists(st.sampled_from(fitting), max_size=2, unique=True)):
        drawn = data.draw(st.sampled_from(list_cells(calculator.input_fields[name])))
        inputs[name] = data.draw(st.sampled_from([format_query_value(drawn), " 12. ", ".5", "1e1", "+2"]))
    declared = list(get_declared_units(calculator.result_fields).items())
    pairs = [f"{name}:{data.draw(st.sampled_from(list(units.output_units(unit))))}" for name, unit in declared[:2]]
    options = [("units", ",".join(pairs)), ("digits", "5"), ("working", "true"), ("errors", "text"), ("x", "1")]
    query = [*inputs.items(), *data.draw(st.lists(st.sampled_from(options), max_size=2, unique=True))]
    path = f"/v1/{calculator.name}"
    response = CLIENT.get(path, query_string=query)
    check_response(get_operation(path, "get"), response)
    if response.status_code == 200:
        assert not find_query_errors(path, query), query
    value_path = f"{path}/{{result}}"
    response = CLIENT.get(f"{path}/{calculator.headline}", query_string=[*inputs.items(), ("errors", "text")])
    assert response.status_code == 200
    names = {name for _, name in SIDE.parameters(get_operation(value_path, "get"))}
    assert {"inputs", "errors"} <= names


@by_calculator
@settings(few, max_examples=5)
@given(data=st.data())
def test_an_accepted_sweep_is_valid(calculator: AnyCalculator, data: st.DataObject) -> None:
    """With values in any form, ends with units, and one or two inputs varied; and its rows fit their schema."""
    names = st.sampled_from(list(calculator.input_fields))
    vary: dict[str, Any] = {}
    for name in data.draw(st.lists(names, min_size=1, max_size=2, unique=True)):
        kind = calculator.input_fields[name]
        cell = data.draw(st.sampled_from(list_cells(kind)))
        unit = kind.unit if isinstance(kind, Quantity) else ""
        ranges = [{"from": 1, "to": f"2 {unit}", "count": 2}, {"from": 1, "to": 2.5, "count": 3.0}, {"from": 1}]
        vary[name] = data.draw(st.sampled_from([{"values": [cell, 1]}, {"values": []}, [cell], *ranges]))
    body = {"given": dict(calculator.examples[0].given), "vary": vary}
    path = f"/v1/{calculator.name}/sweep"
    response = CLIENT.post(path, json=body)
    check_response(get_operation(path, "post"), response)
    if response.status_code == 200:
        schema = get_operation(path, "post")["requestBody"]["content"]["application/json"]["schema"]
        assert not find_errors(schema, body), body


@by_calculator
@few
@given(data=st.data())
def test_a_valid_body_is_accepted(calculator: AnyCalculator, data: st.DataObject) -> None:
    """Of bodies that are made from the contract alone."""
    path = f"/v1/{calculator.name}"
    schema = get_operation(path, "post")["requestBody"]["content"]["application/json"]["schema"]
    body = data.draw(make_objects(f"{schema['$ref']}"))
    repair_body(calculator, body)
    assert not find_errors(schema, body)
    response = CLIENT.post(path, json=body)
    check_response(get_operation(path, "post"), response)
    assert response.status_code in ACCEPTED, (body, response.get_json())


@functools.cache
def make_objects(reference: str) -> st.SearchStrategy[dict[str, Any]]:
    """Return a strategy for the objects of a schema: all members that are required, and a few others."""
    schema = SIDE.resolved({"$ref": reference})
    parts = [SIDE.resolved(part) for part in schema.get("allOf", [schema])]
    members = {name: each for part in parts for name, each in part.get("properties", {}).items()}
    needed = [*(part["required"] for part in parts if "required" in part)]
    either = [each["required"] for part in parts for each in part.get("anyOf", ()) if each["required"] != ["craft"]]
    choices = st.tuples(st.sampled_from(either or [[]]), st.lists(st.sampled_from([*members]), max_size=4, unique=True))
    return choices.flatmap(
        lambda chosen: st.fixed_dictionaries(
            {
                name: make_values(json.dumps(members[name]))
                for name in dict.fromkeys([*itertools.chain(*needed), *chosen[0], *chosen[1]])
                if name not in CRAFT_MEMBERS
            }
        )
    )


@functools.cache
def make_values(text: str) -> st.SearchStrategy[Any]:
    """Return a strategy for the values of a schema in JSON; lists have up to three entries."""
    schema: dict[str, Any] = json.loads(text)
    resolved = SIDE.resolved(schema)
    match resolved:
        case {"enum": options}:
            return st.sampled_from(options)
        case {"type": "object", "additionalProperties": False}:
            return make_objects(schema["$ref"])
        case {"type": "object", "properties": channels}:
            columns = {name: make_values(json.dumps(each)) for name, each in channels.items()}
            return st.fixed_dictionaries({}, optional=columns)
        case {"anyOf": branches}:
            return st.one_of([make_values(json.dumps(branch)) for branch in branches])
        case {"type": "array", "items": items}:
            least = resolved.get("minItems", 0)
            return st.lists(make_values(json.dumps(items)), min_size=least, max_size=max(least, 3))
        case {"type": "string", "pattern": pattern}:
            longest = resolved["maxLength"]
            return st.from_regex(pattern, fullmatch=True).filter(lambda made: 0 < len(made) <= longest)
        case {"type": "number"}:
            low = resolved.get("minimum", resolved.get("exclusiveMinimum"))
            high = resolved.get("maximum", resolved.get("exclusiveMaximum"))
            numbers = st.floats(low, high, allow_nan=False, allow_infinity=False)
            return numbers.filter(lambda number: not find_errors(resolved, number))
        case {"type": "integer", "minimum": low, "maximum": high}:
            return st.integers(low, high)
        case {"type": "boolean"}:
            return st.booleans()
        case {"type": "null"}:
            return st.none()
    raise ValueError(f"no values are made for {resolved}")
