"""marshmallow schemas made from declarations. A field takes a column of cells and gives back a `Column`.

The schema validates names: unknown ones are rejected, required ones must be there. Values are validated by row, inside
the column, so that in a batch one invalid row does not affect the others.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Any

import marshmallow
from marshmallow import fields

from gramwatt.engine.column_types import Cells, Column, ConstantColumn, LoadedInputs
from gramwatt.engine.columns import missing_input_error, unknown_input_errors
from gramwatt.engine.nested import read_column
from gramwatt.engine.row_names import collect_names
from gramwatt.model import AnyCalculator, Kind


class ColumnField(fields.Field[Column]):
    """An input, read as a column of cells: JSON cells, or with ``text`` text of a query."""

    def __init__(self, calculator: AnyCalculator, kind: Kind, *, text: bool, required: bool) -> None:
        super().__init__(required=required, allow_none=True)
        self.calculator = calculator
        self.kind = kind
        self.text = text

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any) -> Column:
        names = collect_names(self.calculator, {} if data is None else data)
        return read_column(self.kind, value, text=self.text, names=names)


@functools.cache
def get_schema(calculator: AnyCalculator, *, text: bool = False) -> marshmallow.Schema:
    """Return the schema of a calculator's inputs; made once, used by every thread, since loading keeps no state."""
    columns = {
        name: ColumnField(calculator, kind, text=text, required=name in calculator.required_inputs)
        for name, kind in calculator.input_fields.items()
    }
    return marshmallow.Schema.from_dict(dict(columns), name=get_schema_name(calculator))()


def get_schema_name(calculator: AnyCalculator) -> str:
    """Return the name of the inputs' component in the contract: ``PackEnergyInputs``."""
    return "".join(word.capitalize() for word in calculator.name.split("-")) + "Inputs"


def load_with_schema(calculator: AnyCalculator, cells: Mapping[str, Cells], *, text: bool) -> LoadedInputs:
    """Read columns of cells with the marshmallow schema. It validates names: unknown and missing ones become errors."""
    try:
        columns: Any = get_schema(calculator, text=text).load(cells)
        return LoadedInputs(columns, ())
    except marshmallow.ValidationError as error:
        known = calculator.input_fields
        messages = error.messages if isinstance(error.messages, dict) else {}
        errors = [missing_input_error(name, known[name]) for name in messages if name in known]
        errors += unknown_input_errors(
            {name: _first(each) for name, each in cells.items() if name not in known}, tuple(known), known
        )
        return LoadedInputs(error.valid_data if isinstance(error.valid_data, dict) else {}, tuple(errors))


def _first(cells: Cells) -> object:
    if isinstance(cells, ConstantColumn):
        return cells.cell
    return cells[0] if isinstance(cells, Sequence) and len(cells) else None
