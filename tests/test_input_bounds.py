"""Every bound of every input, derived from the declarations: the bound itself, and the next number beyond it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, Final

import pytest
from flask.testing import FlaskClient

from gramwatt import InvalidInput, calculate
from gramwatt.engine import registry
from gramwatt.model import Calculator, Count, Kind, NumberList, Quantity, Table, get_fields, units
from gramwatt.web import create_app

CALCULATORS: Final = list(registry.load().values())


def numbers(fields: Mapping[str, Kind]) -> Iterator[tuple[str, Quantity | Count]]:
    """Yield the numeric inputs with their paths: mass, masses.0, packs.0.mass."""
    for name, kind in fields.items():
        if isinstance(kind, Quantity | Count):
            yield name, kind
        elif isinstance(kind, NumberList):
            yield f"{name}.0", kind.item
        elif isinstance(kind, Table):
            yield from ((f"{name}.0.{inner}", column) for inner, column in numbers(get_fields(kind.row)))


def ends(kind: Quantity | Count, step: float = 0.0) -> Iterator[tuple[float, float]]:
    """Yield an accepted and a rejected number for each end of a range, a relative step or else a last bit apart."""
    if isinstance(kind, Count):
        yield from ((kind.at_least, kind.at_least - 1), (kind.at_most, kind.at_most + 1))
        return
    for closed, is_open, outward in ((kind.at_least, kind.above, -1), (kind.at_most, kind.below, 1)):
        bound = next(each for each in (closed, is_open) if each is not None)
        shift = outward * step * (abs(bound) or 1.0)
        if closed is not None:
            yield closed, closed + shift if step else math.nextafter(closed, outward * math.inf)
        if is_open is not None:
            yield is_open - shift if step else math.nextafter(is_open, -outward * math.inf), is_open


INPUTS: Final = [(each, path, kind) for each in CALCULATORS for path, kind in numbers(each.input_fields)]
every_input = pytest.mark.parametrize(
    ("calculator", "path", "kind"), INPUTS, ids=[f"{each.name}: {path}" for each, path, _ in INPUTS]
)
Any_ = Calculator[Any, Any]


def is_rejected(calculator: Any_, path: str, value: Any) -> bool:
    """Return whether a value of one input is rejected; what else is missing does not matter."""
    name, *inner = path.split(".")
    for step in reversed(inner):
        value = [value] if step == "0" else {step: value}
    try:
        calculate(calculator.name, **{name: value})
    except InvalidInput as error:
        return "/" + path.replace(".", "/") in {each.pointer for each in error.errors}
    return False


@every_input
def test_a_bound_is_accepted_as_declared_and_nothing_beyond(
    calculator: Any_, path: str, kind: Quantity | Count
) -> None:
    found = [[is_rejected(calculator, path, each) for each in pair] for pair in ends(kind)]
    assert found == [[False, True], [False, True]]


@pytest.mark.parametrize(
    ("calculator", "path", "kind"),
    [each for each in INPUTS if isinstance(each[2], Quantity) and each[2].unit != "1"],
    ids=[f"{each.name}: {path}" for each, path, kind in INPUTS if isinstance(kind, Quantity) and kind.unit != "1"],
)
def test_a_closed_bound_is_accepted_in_every_unit(calculator: Any_, path: str, kind: Quantity) -> None:
    """Though its text in another unit is rounded; a millionth beyond it is rejected, as is an open bound."""
    for spelling, unit in units.compatible_units(kind.unit).items():
        for bound, is_open, outward in (
            (kind.at_least, False, -1),
            (kind.above, True, -1),
            (kind.at_most, False, 1),
            (kind.below, True, 1),
        ):
            if bound is None:
                continue
            si = units.get_unit(kind.unit).to_si(bound)
            step = 1e-6 * (abs(si) or 1.0)
            texts = [f"{(value - unit.offset) / unit.scale:.15g} {spelling}" for value in (si, si + outward * step)]
            assert is_rejected(calculator, path, texts[1]), texts[1]
            if not is_open:
                assert not is_rejected(calculator, path, texts[0]), texts[0]
            elif bound == 0 and unit.offset == 0:
                assert is_rejected(calculator, path, texts[0]), texts[0]


def invalid(row: Mapping[str, Any]) -> set[str]:
    """Return the inputs that a row's error points at."""
    return {error["pointer"][1:] for error in row.get("error", {}).get("errors", ())}


COLUMNS: Final = [(each, path, kind) for each, path, kind in INPUTS if each.columnwise]


@pytest.mark.parametrize(
    ("calculator", "name", "kind"), COLUMNS, ids=[f"{each.name}: {path}" for each, path, _ in COLUMNS]
)
def test_a_bound_holds_in_a_table(calculator: Any_, name: str, kind: Quantity | Count, client: FlaskClient) -> None:
    """As a column of numbers, which is checked whole, in CSV and in JSON. A table rounds to twelve digits."""
    base = dict(calculator.examples[0].given)
    values = [value for pair in ends(kind, step=1e-9) for value in pair]
    expected = [False, True, False, True]
    body = ",".join([*(each for each in base if each != name), name, "id"]) + "\n"
    for value in values:
        body += ",".join([*(f"{base[each]}" for each in base if each != name), repr(value), "x"]) + "\n"
    url = f"/v1/{calculator.name}/batch?format=json"
    rows = client.post(url, data=body, content_type="text/csv").get_json()
    assert [name in invalid(row) for row in rows] == expected
    rows = client.post(url, json=[{**base, name: value} for value in values]).get_json()
    assert [name in invalid(row) for row in rows] == expected


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()
