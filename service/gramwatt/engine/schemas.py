"""marshmallow schemas made from declarations. A field takes a column of cells and gives back a `Column`.

The schema is the judge of names: unknown ones are refused, required ones missed. Values are judged by row, inside
the column, so that in a batch one bad row does not spoil the others.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Any

import marshmallow
from marshmallow import fields

from gramwatt.engine.column_types import Cells, Column, LoadedInputs
from gramwatt.engine.columns import missing_input_error, unknown_input_errors
from gramwatt.engine.nested import read_column
from gramwatt.model import AnyCalculator, Kind


class ColumnField(fields.Field[Column]):
    """A field of a question, read as a column of cells; JSON cells, or with ``text`` words of a query."""

    def __init__(self, kind: Kind, *, text: bool, required: bool) -> None:
        super().__init__(required=required, allow_none=True, metadata={"description": get_description(kind)})
        self.kind = kind
        self.text = text

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any) -> Column:
        return read_column(self.kind, value, text=self.text)


def get_description(kind: Kind) -> str:
    """Return a field's description; a Spread has none, as nobody is asked for it."""
    return str(getattr(kind, "description", ""))


@functools.cache
def get_schema(calculator: AnyCalculator, *, text: bool = False) -> marshmallow.Schema:
    """Return the schema of a calculator's question; made once, used by every thread (loading keeps no state)."""
    made = {
        name: ColumnField(kind, text=text, required=name in calculator.required_inputs)
        for name, kind in calculator.input_fields.items()
    }
    return marshmallow.Schema.from_dict(dict(made), name=get_schema_name(calculator))()


def get_schema_name(calculator: AnyCalculator) -> str:
    """Return the name of the question's component in the contract: ``PackEnergyQuestion``."""
    return "".join(word.capitalize() for word in calculator.name.split("-")) + "Question"


def load_with_schema(calculator: AnyCalculator, cells: Mapping[str, Cells], *, text: bool) -> LoadedInputs:
    """Read columns of cells by marshmallow's schema alone."""
    try:
        columns: Any = get_schema(calculator, text=text).load(cells)
        return LoadedInputs(columns, ())
    except marshmallow.ValidationError as error:
        asked = calculator.input_fields
        wrong = error.messages if isinstance(error.messages, dict) else {}
        errors = [missing_input_error(name, asked[name]) for name in wrong if name in asked]
        errors += unknown_input_errors(
            {name: _first(each) for name, each in cells.items() if name not in asked}, tuple(asked)
        )
        return LoadedInputs(error.valid_data if isinstance(error.valid_data, dict) else {}, tuple(errors))


def _first(cells: Cells) -> object:
    return cells[0] if isinstance(cells, Sequence) and len(cells) else None
