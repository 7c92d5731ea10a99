"""Reading lists and tables inside a question: one question at a time, so that their lengths need not agree."""

from __future__ import annotations

import functools
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.cells import kind_of
from gramwatt.engine.column_types import ABSENT, Column, TableColumn, no, yes
from gramwatt.engine.columns import absent, missing, read, spread_kind, unknown, with_default
from gramwatt.engine.messages import Fault, accepts, echo, one_of
from gramwatt.model import Kind, Quantity, Recording, Samples, Series, Spread, Table, fields_of, is_required

LONGEST_QUERY_LIST: Final = 60


def read_nested(kind: Series | Table | Samples, cells: Sequence[object], *, text: bool) -> Column:
    """Lists, tables and recordings: one question at a time, so that their lengths need not agree."""
    if all(cell is ABSENT for cell in cells):
        return absent(kind, len(cells))
    if isinstance(kind, Samples):
        return _read_recordings(kind, cells, text=text)
    if len(cells) != 1:
        raise ValueError("a list or a table is read one question at a time")
    cell = list(cells[0]) if isinstance(cells[0], tuple) else cells[0]
    items: Any = cell.split(",") if text and isinstance(cell, str) and isinstance(kind, Series) else cell
    fault = _length_fault(kind, items, text=text)
    if fault is not None:
        column = absent(kind, 1)
        return Column(column.values, yes(1), faults={0: [fault]})
    column = _read_list(kind, items, text=text) if isinstance(kind, Series) else _read_rows(kind, items)
    column.present = yes(1)
    return column


def _read_recordings(kind: Samples, cells: Sequence[object], *, text: bool) -> Column:
    from gramwatt.engine.recordings.channels import of_object  # which only a recording needs
    from gramwatt.engine.recordings.columns import Unusable

    values = np.full(len(cells), None, dtype=np.object_)
    faults: dict[int, list[Fault]] = {}
    for row, cell in enumerate(cells):
        if cell is ABSENT:
            continue
        if isinstance(cell, Recording):
            values[row] = cell
        elif text or not isinstance(cell, dict):
            detail = "a recording does not fit a word: send it as JSON, or by itself" if text else "not an object"
            faults[row] = [Fault("", detail, echo(cell), accepts(kind))]
        else:
            try:
                values[row] = of_object(kind, cell)
            except Unusable as unusable:
                faults[row] = list(unusable.faults)
    given = [cell is not ABSENT for cell in cells]
    return Column(values, yes(len(cells)) if all(given) else np.array(given), None, faults)


def _length_fault(kind: Series | Table, items: Any, *, text: bool) -> Fault | None:
    if isinstance(kind, Table) and text:
        return Fault(
            "", "a table does not fit a query: send it as JSON, by POST or with --body", echo(items), accepts(kind)
        )
    if not isinstance(items, list):
        return Fault("", f"{kind_of(items)} is not a list", echo(items), accepts(kind))
    longest = min(kind.longest, LONGEST_QUERY_LIST) if text else kind.longest
    if not kind.shortest <= len(items) <= longest:
        hint = f"; send up to {kind.longest} by POST" if kind.longest >= len(items) > longest else ""
        detail = f"a list of {len(items)}; it may have {kind.shortest} to {longest}{hint}"
        return Fault("", detail, echo(items), accepts(kind))
    return None


def _read_list(kind: Series, items: list[object], *, text: bool) -> Column:
    inner = read(kind.item, items, text=text)
    faults = [fault.under(str(at)) for at, faults in inner.faults.items() for fault in faults]
    return Column(
        inner.values[None, :],
        no(1),
        None if inner.spread is None else inner.spread[None, :],
        {0: faults} if faults else {},
    )


@dataclass(frozen=True, slots=True)
class _RowLayout:
    """What the rows of a table of inputs may hold."""

    fields: Mapping[str, Kind]
    known: tuple[str, ...]
    known_set: frozenset[str]
    """The same: fields, and the standard uncertainties of quantities."""
    required: tuple[str, ...]
    spread_fields: tuple[tuple[str, str], ...]
    """Fields that hold a standard uncertainty, and the quantity that it belongs to."""


@functools.cache
def _layout(row: Hashable) -> _RowLayout:
    declared = fields_of(cast("type[Any]", row))
    fields = {name: kind for name, kind in declared.items() if not isinstance(kind, Spread)}
    known = (*fields, *(f"{name}_u" for name, kind in fields.items() if isinstance(kind, Quantity)))
    return _RowLayout(
        fields,
        known,
        frozenset(known),
        tuple(name for name, kind in fields.items() if is_required(kind)),
        tuple((name, kind.of) for name, kind in declared.items() if isinstance(kind, Spread)),
    )


def _read_rows(kind: Table, items: list[object]) -> Column:
    layout = _layout(cast("Hashable", kind.row))
    rows: list[dict[str, object]] = [item if isinstance(item, dict) else {} for item in items]
    faults: list[Fault] = []
    compared = 0
    for at, item in enumerate(items):
        faults += _row_faults(kind, layout, at, item, compared)
        compared += isinstance(item, dict) and len(item.keys() - layout.known_set)
    columns: dict[str, Any] = {}
    spreads: dict[str, NDArray[np.float64]] = {}
    for name, inner in layout.fields.items():
        column = read(inner, [row.get(name, ABSENT) for row in rows], text=False)
        if any(name not in row for row in rows):
            column = with_default(inner, column, ~column.present)
        columns[name] = column.values[None, :]
        for at, found in column.faults.items():
            faults += [fault.under(name).under(str(at)) for fault in found]
        if isinstance(inner, Quantity):
            spread, spread_faults = _read_spread(name, inner, rows, column)
            faults += spread_faults
            if spread is not None:
                spreads[name] = spread[None, :]
    for name, source in layout.spread_fields:
        columns[name] = spreads[source] if source in spreads else np.zeros((1, len(rows)))
    return TableColumn(kind.row(**columns), no(1), None, {0: faults} if faults else {}, spreads)


def _row_faults(kind: Table, layout: _RowLayout, at: int, item: object, compared: int) -> list[Fault]:
    """What is wrong with the names in a row of a table; see `unknown` for ``compared``."""
    fields = layout.fields
    if not isinstance(item, dict):
        return [Fault(f"/{at}", f"{kind_of(item)} is not an object", echo(item), f"an object with {one_of(fields)}")]
    faults: list[Fault] = []
    if not item.keys() <= layout.known_set:
        names = {name: value for name, value in item.items() if name not in layout.known_set}
        faults += [fault.under(str(at)) for fault in unknown(names, layout.known, compared)]
    faults += [missing(name, fields[name]).under(str(at)) for name in layout.required if name not in item]
    faults += [
        Fault(f"/{at}/{group[0]}", f"give {one_of(group)}", None, accepts(fields[group[0]]))
        for group in kind.any_of
        if not any(name in item for name in group)
    ]
    return faults


def _read_spread(
    name: str, kind: Quantity, rows: list[dict[str, object]], column: Column
) -> tuple[NDArray[np.float64] | None, list[Fault]]:
    """The standard uncertainties of a table's quantity, (M,); None where none is given."""
    spread_name = f"{name}_u"
    if not any(spread_name in row for row in rows):
        return column.spread, []
    stated = read(spread_kind(name, kind), [row.get(spread_name, ABSENT) for row in rows], text=False)
    spread = np.where(stated.present, stated.values, 0.0)
    faults = [fault.under(spread_name).under(str(at)) for at, found in stated.faults.items() for fault in found]
    if column.spread is not None:
        spread = np.hypot(spread, column.spread)  # told twice, they count as two independent causes
    return spread, faults
