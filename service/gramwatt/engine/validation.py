"""Read the inputs of requests, columns of cells by name, as `Column`s."""

from __future__ import annotations

from collections.abc import Mapping

from gramwatt.engine.column_types import Cells, LoadedInputs
from gramwatt.engine.nested import read_column
from gramwatt.engine.row_names import collect_names
from gramwatt.model import AnyCalculator


def load_inputs(calculator: AnyCalculator, cells: Mapping[str, Cells], *, text: bool) -> LoadedInputs:
    """Read columns of cells by name. Unknown and missing names become errors; known ones are read anyway.

    Where all names are right, the columns are read at once. Any other request goes to the marshmallow schema, which
    gives the same verdict (a test holds the two together) and says what is wrong. marshmallow takes a fifth of the
    start of the command line, so it is imported only then.
    """
    known = calculator.input_fields
    if cells.keys() <= known.keys() and all(name in cells for name in calculator.required_inputs):
        names = collect_names(calculator, cells)
        return LoadedInputs(
            {name: read_column(known[name], column, text=text, names=names) for name, column in cells.items()}, ()
        )
    from gramwatt.engine.schemas import load_with_schema

    return load_with_schema(calculator, cells, text=text)
