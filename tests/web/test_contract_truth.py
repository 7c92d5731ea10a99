"""The contract says what the service does: what it accepts is valid by the contract, and what is valid it accepts.

What the contract has in words only is in `contract_words`. Every response fits its schema.
"""

from __future__ import annotations

import contextlib
import functools
import json
from collections.abc import Iterator, Sequence
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema_rs import Draft202012Validator

from gramwatt.engine import registry
from gramwatt.engine.query_strings import find_query_example, fits_query, format_query_value
from gramwatt.engine.response import get_declared_units
from gramwatt.model import AnyCalculator, Choice, Count, Flag, Kind, NumberList, Quantity, RowName, Table, Text, units
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


def draw_cell(draw: st.DrawFn, kind: Kind, *, names: Sequence[str] = ()) -> Any:
    """Draw what people may write for an input in JSON: sometimes wrong, in many forms."""
    match kind:
        case Quantity():
            number = draw(draw_number(kind))
            unit = draw(st.sampled_from([*units.compatible_units(kind.unit), "", "parsec"]))
            sign = draw(st.sampled_from(["±", "+/-", "+-", "/-", " ± ", " +/- "]))
            return draw(
                st.sampled_from(
                    [number, round(number), f"{number} {unit}", f"{number:.3e}{unit}", f"  {number:+}\u202f{unit} ",
                     f"{number}{sign}0.1 {unit}", f"{number}{sign}1e-2", f"{number}", "", None, True]
                )
            )  # fmt: skip
        case Count():
            number = draw(st.integers(kind.at_least - 1, kind.at_most + 1))
            return draw(st.sampled_from([number, float(number), f"{number}S", f"{number}s", f"{number}", number + 0.5]))
        case Choice():
            return draw(st.sampled_from([*kind.options, kind.options[0].upper(), "", 1]))
        case Flag():
            return draw(st.sampled_from([True, False, "true", 1, None]))
        case Text():
            return draw(st.sampled_from([*kind.like, "Motor µ 2,3", "x" * kind.max_length, "x" * 999, "", "a\nb", 5]))
        case RowName():
            return draw(st.sampled_from([*names, "nobody", "", 1]))
        case NumberList():
            return [draw_cell(draw, kind.item) for _ in range(draw(st.integers(0, 3)))]
        case Table():
            return [draw_row(draw, kind) for _ in range(draw(st.integers(0, 2)))]
    return None


def draw_number(kind: Quantity) -> st.SearchStrategy[float]:
    """Draw a number mostly within the bounds, with the bounds themselves and beyond."""
    low, high = (bound if bound is not None else 0.0 for bound in (kind.at_least, kind.at_most))
    low, high = low if kind.above is None else kind.above, high if kind.below is None else kind.below
    middle = low + (high - low) / 1000
    return st.sampled_from([low, high, middle, middle, middle * 1.5, low - 1, high * 2, round(middle, 3)])


def draw_row(draw: st.DrawFn, kind: Table) -> dict[str, Any]:
    row = {name: draw_cell(draw, each) for name, each in kind.input_columns.items() if draw(st.booleans())}
    for name in [name for name in row if isinstance(kind.input_columns[name], Quantity) and draw(st.booleans())]:
        row[f"{name}_u"] = draw(st.sampled_from([0, 0.5, "1 %", -1, "x"]))
    return row


@st.composite
def draw_body(draw: st.DrawFn, calculator: AnyCalculator) -> dict[str, Any]:
    """Draw an example of a calculator with a few inputs changed, left out, or in a craft document."""
    body: dict[str, Any] = json.loads(json.dumps(dict(draw(st.sampled_from(calculator.examples)).given)))
    for name in draw(st.lists(st.sampled_from(list(calculator.input_fields)), max_size=3, unique=True)):
        kind = calculator.input_fields[name]
        rows = body.get(getattr(kind, "of", ""), ())
        body[name] = draw_cell(draw, kind, names=[row["name"] for row in rows if "name" in row])
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
        drawn = data.draw(st.composite(draw_cell)(calculator.input_fields[name]))
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
@settings(few, max_examples=6)
@given(data=st.data())
def test_a_valid_body_is_accepted(calculator: AnyCalculator, data: st.DataObject) -> None:
    """Of bodies that schemathesis makes from the contract alone."""
    path = f"/v1/{calculator.name}"
    body = data.draw(STRATEGIES[calculator.name]).body
    repair_body(calculator, body)
    assert not find_errors(get_operation(path, "post")["requestBody"]["content"]["application/json"]["schema"], body)
    response = CLIENT.post(path, json=body)
    check_response(get_operation(path, "post"), response)
    assert response.status_code in ACCEPTED, (body, response.get_json())


def make_strategies() -> Iterator[tuple[str, st.SearchStrategy[Any]]]:
    """Yield a strategy for the requests of each calculator in JSON."""
    contract = schemathesis.openapi.from_dict(CONTRACT)
    for calculator in CALCULATORS:
        yield calculator.name, contract[f"/v1/{calculator.name}"]["POST"].as_strategy()


STRATEGIES = dict(make_strategies())
