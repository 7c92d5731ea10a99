"""The fast check of names and marshmallow's schema give the same result for all names."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gramwatt.engine import registry, schemas, validation
from gramwatt.engine.column_types import Column, LoadedInputs

CALCULATORS = registry.load()


def comparable(loaded: LoadedInputs) -> tuple[Any, ...]:
    """Return columns and errors in a form that can be compared."""
    columns = {
        name: (repr(column.values), repr(column.errors), repr(column.uncertainty)) for name, column in _all(loaded)
    }
    return columns, loaded.errors


def _all(loaded: LoadedInputs) -> list[tuple[str, Column]]:
    return sorted(loaded.columns.items())


@pytest.mark.parametrize("name", CALCULATORS)
@settings(max_examples=100, deadline=None)
@given(data=st.data(), text=st.booleans())
def test_both_give_the_same_result(name: str, data: st.DataObject, text: bool) -> None:
    calculator = CALCULATORS[name]
    names = st.sampled_from([*calculator.input_fields, "powr", "", "unit"])
    cell: st.SearchStrategy[Any] = st.sampled_from(
        [6, "6", "1.3 Ah", "lipo", None, True, [1, 2], {}, "x", -1, 1e300, []]
    )
    inputs = data.draw(st.dictionaries(names, st.tuples(cell).map(list), max_size=8))
    assert comparable(validation.load_inputs(calculator, inputs, text=text)) == comparable(
        schemas.load_with_schema(calculator, inputs, text=text)
    )


def test_the_fast_check_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the test above would compare the schema with itself."""
    monkeypatch.setattr(schemas, "load_with_schema", lambda *_, **__: pytest.fail("the schema was used"))
    loaded = validation.load_inputs(CALCULATORS["pack-energy"], {"cells": [6], "capacity": [1300]}, text=False)
    assert not loaded.errors
