"""Read the inputs of requests, columns of cells by name, as `Column`s."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gramwatt.engine.column_types import Cells, Column
from gramwatt.engine.columns import read
from gramwatt.engine.messages import InputError
from gramwatt.model import Calculator, is_required


@dataclass(frozen=True, slots=True)
class Loaded:
    """Columns by name, and the faults that concern whole columns (every row)."""

    columns: Mapping[str, Column]
    errors: tuple[InputError, ...]


@functools.cache
def required(calculator: Calculator[Any, Any]) -> tuple[str, ...]:
    """Return the inputs that every request must give, groups of which one is enough left aside."""
    grouped = {name for group in calculator.any_of for name in group}
    return tuple(name for name, kind in calculator.input_fields.items() if is_required(kind) and name not in grouped)


def load(calculator: Calculator[Any, Any], cells: Mapping[str, Cells], *, text: bool) -> Loaded:
    """Read columns of cells by name. Unknown and missing names become faults; the known ones are read all the same.

    Where all names are right, the columns are read at once. Any other request goes to the marshmallow schema, which
    gives the same verdict (a test holds the two together) and says what is wrong. marshmallow takes a fifth of the
    start of the command line, so it is imported only then.
    """
    known = calculator.input_fields
    if cells.keys() <= known.keys() and all(name in cells for name in required(calculator)):
        return Loaded({name: read(known[name], column, text=text) for name, column in cells.items()}, ())
    from gramwatt.engine.schemas import judged

    return judged(calculator, cells, text=text)
