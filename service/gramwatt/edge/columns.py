"""Reading a column of cells of one kind: values in SI, what was given at all, spread, and faults by row.

A single question is a column of one. ``text`` says whether cells are words of a query or a command line (``"6"`` is
then the number six) or values of a JSON document (where it is refused).
"""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gramwatt.declare import (
    Choice,
    Count,
    Flag,
    Kind,
    Quantity,
    Series,
    Spread,
    Table,
    Text,
    Truths,
    default_of,
    fields_of,
    is_required,
)
from gramwatt.edge import units
from gramwatt.edge.wording import Fault, accepts, bounds, echo, near, one_of

LONGEST_NUMBER: Final = 64
LONGEST_QUERY_LIST: Final = 60
LARGEST_SPREAD: Final = 1e9
NUMBER: Final = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY: Final = re.compile(rf" *({NUMBER})(?: *(?:±|\+?/-|\+-) *({NUMBER}))? *([^0-9 .,+±-].*?)? *", re.ASCII)
_ALIKE: Final = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2126": "Ω", "\u2212": "-"})
"""What looks like a space, an ohm or a minus and comes with copied text."""
_PRINTABLE: Final = re.compile(r"[^\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")


class _Absent:
    """Stands in a column where a row gives nothing."""

    def __repr__(self) -> str:
        return "ABSENT"


ABSENT: Final = _Absent()


@dataclass(slots=True)
class Column:
    """N cells of one kind. ``values`` has shape (N,), or (N, M) in a list, or is the Inputs of a table's rows."""

    values: Any
    present: Truths
    spread: NDArray[np.float64] | None = None
    faults: dict[int, list[Fault]] = field(default_factory=dict)


class _Refused(ValueError):
    """A cell that is no value of its kind: what is wrong, and what is accepted."""

    def __init__(self, detail: str, accepted: str) -> None:
        super().__init__(detail)
        self.detail, self.accepted = detail, accepted


def read(kind: Kind, cells: Sequence[object], *, text: bool) -> Column:
    """Read N cells. Never raises for what a user sent; faults are told by row."""
    if isinstance(kind, Series | Table):
        return _read_nested(kind, cells, text=text)
    column = blank(kind, len(cells))
    for row, cell in enumerate(cells):
        if cell is ABSENT:
            continue
        column.present[row] = True
        try:
            value, spread = _read_cell(kind, cell, text=text)
        except _Refused as refused:
            column.faults[row] = [Fault("", refused.detail, echo(cell), refused.accepted)]
            continue
        column.values[row] = value
        if spread is not None:
            if column.spread is None:
                column.spread = np.zeros(len(cells))
            column.spread[row] = spread
    return column


def blank(kind: Kind, rows: int) -> Column:
    """A column in which nothing was given: nan, -1, or a list of none."""
    present = np.zeros(rows, dtype=np.bool_)
    match kind:
        case Choice():
            return Column(np.full(rows, -1, dtype=np.intp), present)
        case Flag():
            return Column(np.zeros(rows, dtype=np.bool_), present)
        case Text():
            return Column(np.full(rows, "", dtype=f"<U{kind.longest}"), present)
        case Series():
            return Column(np.zeros((rows, 0)), present)
        case Table():
            inner = {
                name: np.zeros((rows, 0), dtype=blank(column, 0).values.dtype)
                for name, column in fields_of(kind.row).items()
            }
            return Column(kind.row(**inner), present)
        case _:
            return Column(np.full(rows, np.nan), present)


def fill_default(kind: Kind, column: Column, rows: Truths) -> None:
    """Put the declared default, converted to SI, where nothing was given."""
    default = default_of(kind)
    if default is not None and rows.any():
        column.values[rows] = _to_internal(kind, default)


def _to_internal(kind: Kind, value: Any) -> Any:
    match kind:
        case Quantity():
            return units.unit(kind.unit).to_si(value)
        case Choice():
            return kind.options.index(value)
        case _:
            return value


def _read_cell(kind: Kind, cell: object, *, text: bool) -> tuple[Any, float | None]:
    match kind:
        case Quantity():
            return _quantity(kind, cell, text=text)
        case Count():
            return _count(kind, cell, text=text), None
        case Choice():
            return _choice(kind, cell), None
        case Flag():
            return _flag(kind, cell, text=text), None
        case Text():
            return _text(kind, cell), None
        case _:
            raise TypeError(kind)


def _quantity(kind: Quantity, cell: object, *, text: bool) -> tuple[float, float | None]:
    unit = units.unit(kind.unit)
    spread: float | None = None
    if isinstance(cell, str):
        number, plus_minus, unit = _parse(kind, cell, text=text)
        spread = None if plus_minus is None else plus_minus * unit.scale
        if spread is not None and not 0 <= spread <= LARGEST_SPREAD * unit.scale:
            raise _Refused(f"the standard uncertainty after +/- must be from 0 to {LARGEST_SPREAD:g}", accepts(kind))
    elif isinstance(cell, numbers.Real) and not isinstance(cell, bool):
        try:
            number = float(cell)
        except OverflowError:
            number = math.inf
    else:
        raise _Refused(f"{_kind_of(cell)} is not a number", accepts(kind))
    if not math.isfinite(number):
        raise _Refused("the number is not finite", accepts(kind))
    value = number * unit.scale if isinstance(kind, Width) else unit.to_si(number)
    if not _within(kind, number, value, unit):
        raise _Refused(f"must be {bounds(kind)}" + ("" if kind.unit == "1" else f" {kind.unit}"), accepts(kind))
    return value, spread


def _within(kind: Quantity, number: float, value: float, unit: units.Unit) -> bool:
    """Whether a number is within its bounds: as it stands in the declared unit, else by its SI value.

    A closed bound told in another unit may be a last bit off.
    """
    declared = units.unit(kind.unit)
    tell = number if unit == declared else value

    def edge(bound: float) -> float:
        return bound if unit == declared else declared.to_si(bound)

    def slack(bound: float) -> float:
        return 0.0 if unit == declared else 1e-13 * (abs(declared.to_si(bound)) + abs(declared.offset))

    return not (
        (kind.above is not None and tell <= edge(kind.above))
        or (kind.at_least is not None and tell < edge(kind.at_least) - slack(kind.at_least))
        or (kind.below is not None and tell >= edge(kind.below))
        or (kind.at_most is not None and tell > edge(kind.at_most) + slack(kind.at_most))
    )


def _parse(kind: Quantity, cell: str, *, text: bool) -> tuple[float, float | None, units.Unit]:
    if len(cell) > LONGEST_NUMBER:
        raise _Refused(f"text of {len(cell)} characters is too long for a number with a unit", accepts(kind))
    cell = cell.translate(_ALIKE)
    if not cell.strip():
        raise _Refused("empty; leave the name out, or give a value", accepts(kind))
    match = _QUANTITY.fullmatch(cell)
    if match is None:
        if re.fullmatch(r" *[+-]?[0-9]+,[0-9]+ *[^0-9]*", cell):
            raise _Refused("a comma in a number; write a decimal point", accepts(kind))
        raise _Refused("not a number, nor a number with a unit", accepts(kind))
    number, plus_minus, spelling = match.groups()
    known = units.alternatives(kind.unit)
    if spelling is None and not text and plus_minus is None:
        hint = "" if kind.unit == "1" else ", or with a unit"
        raise _Refused(f"a number in quotes; send {number} without them{hint}", accepts(kind))
    if spelling is not None and spelling not in known:
        meant = near(spelling, known)
        hint = f"; did you mean {one_of(meant)}?" if meant else ""
        raise _Refused(f"unit {spelling!r} is not one of {', '.join(known)}{hint}", accepts(kind))
    unit = units.unit(kind.unit) if spelling is None else known[spelling]
    return float(number), None if plus_minus is None else float(plus_minus), unit


def _count(kind: Count, cell: object, *, text: bool) -> float:
    if (
        text
        and isinstance(cell, str)
        and len(cell) <= LONGEST_NUMBER
        and re.fullmatch(NUMBER, cell.strip(" "), re.ASCII)
    ):
        cell = float(cell)
    if isinstance(cell, bool) or not isinstance(cell, numbers.Real):
        raise _Refused(f"{_kind_of(cell)} is not a whole number", accepts(kind))
    try:
        number = float(cell)
    except OverflowError:
        number = math.inf
    if not kind.at_least <= number <= kind.at_most:
        raise _Refused(f"must be from {kind.at_least} to {kind.at_most}", accepts(kind))
    if not number.is_integer():
        raise _Refused("not a whole number", accepts(kind))
    return number


def _choice(kind: Choice, cell: object) -> int:
    if isinstance(cell, str) and cell in kind.options:
        return kind.options.index(cell)
    meant = near(cell, kind.options) if isinstance(cell, str) else []
    hint = f"; did you mean {one_of(meant)}?" if meant else ""
    raise _Refused(f"not one of the options{hint}", accepts(kind))


def _flag(kind: Flag, cell: object, *, text: bool) -> bool:
    if text and cell in ("true", "false"):
        return cell == "true"
    if isinstance(cell, bool):
        return cell
    raise _Refused(f"{_kind_of(cell)} is neither true nor false", accepts(kind))


def _text(kind: Text, cell: object) -> str:
    if not isinstance(cell, str):
        raise _Refused(f"{_kind_of(cell)} is not text", accepts(kind))
    if len(cell) > kind.longest:
        raise _Refused(f"{len(cell)} characters", accepts(kind))
    if not _PRINTABLE.fullmatch(cell):
        raise _Refused("empty, or with characters that cannot be printed", accepts(kind))
    return cell


def _kind_of(cell: object) -> str:
    names = {
        type(None): "null",
        bool: "true or false",
        str: "text",
        list: "a list",
        dict: "an object",
        int: "a number",
        float: "a number",
    }
    return names.get(type(cell), f"{type(cell).__name__}")


def _read_nested(kind: Series | Table, cells: Sequence[object], *, text: bool) -> Column:
    """Lists and tables: one question at a time, so that their lengths need not agree."""
    column = blank(kind, len(cells))
    for row, cell in enumerate(cells):
        if cell is ABSENT:
            continue
        if len(cells) != 1:
            raise ValueError("a list or a table is read one question at a time")
        cell = list(cell) if isinstance(cell, tuple) else cell
        items: Any = cell.split(",") if text and isinstance(cell, str) and isinstance(kind, Series) else cell
        fault = _length_fault(kind, items, text=text)
        if fault is not None:
            column.faults[row] = [fault]
        elif isinstance(kind, Series):
            column = _read_list(kind, items, text=text)
        else:
            column = _read_rows(kind, items)
        column.present[row] = True
    return column


def _length_fault(kind: Series | Table, items: Any, *, text: bool) -> Fault | None:
    if isinstance(kind, Table) and text:
        return Fault(
            "", "a table does not fit a query: send it as JSON, by POST or with --body", echo(items), accepts(kind)
        )
    if not isinstance(items, list):
        return Fault("", f"{_kind_of(items)} is not a list", echo(items), accepts(kind))
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
        np.zeros(1, dtype=np.bool_),
        None if inner.spread is None else inner.spread[None, :],
        {0: faults} if faults else {},
    )


def _read_rows(kind: Table, items: list[object]) -> Column:
    fields = {name: inner for name, inner in fields_of(kind.row).items() if not isinstance(inner, Spread)}
    faults: list[Fault] = []
    known = (*fields, *(f"{name}_u" for name, inner in fields.items() if isinstance(inner, Quantity)))
    rows: list[dict[str, object]] = []
    for at, item in enumerate(items):
        rows.append(item if isinstance(item, dict) else {})
        if not isinstance(item, dict):
            faults.append(
                Fault(f"/{at}", f"{_kind_of(item)} is not an object", echo(item), f"an object with {one_of(fields)}")
            )
            continue
        faults += [unknown(name, item[name], known).under(str(at)) for name in item if name not in known]
        faults += [
            missing(name, inner).under(str(at))
            for name, inner in fields.items()
            if is_required(inner) and name not in item
        ]
    columns: dict[str, Any] = {}
    for name, inner in fields.items():
        column = read(inner, [row.get(name, ABSENT) for row in rows], text=False)
        fill_default(inner, column, ~column.present)
        columns[name] = column.values[None, :]
        for at, found in column.faults.items():
            faults += [fault.under(name).under(str(at)) for fault in found]
        if isinstance(inner, Quantity):
            spread, spread_faults = _read_spread(name, inner, rows, column)
            columns[f"{name}_u"] = spread[None, :]
            faults += spread_faults
    declared = fields_of(kind.row)
    values = kind.row(
        **{name: columns[inner.of + "_u" if isinstance(inner, Spread) else name] for name, inner in declared.items()}
    )
    spreads = {name: columns[f"{name}_u"] for name in fields if f"{name}_u" in columns}
    return TableColumn(values, np.zeros(1, dtype=np.bool_), None, {0: faults} if faults else {}, spreads)


@dataclass(slots=True)
class TableColumn(Column):
    """A table's column; ``spreads`` holds the standard uncertainty of each of its quantities, shape (1, M)."""

    spreads: dict[str, NDArray[np.float64]] = field(default_factory=dict)


class Width(Quantity):
    """A difference of quantities: read without the offset that a temperature has."""


def spread_kind(name: str, kind: Quantity) -> Quantity:
    """The declaration of ``<name>_u``, the standard uncertainty of a quantity, in the quantity's unit."""
    width = "K" if units.unit(kind.unit).dimension == "temperature" else kind.unit
    return Width(width, f"Standard uncertainty of {name}.", at_least=0, at_most=LARGEST_SPREAD, optional=True)


def _read_spread(
    name: str, kind: Quantity, rows: list[dict[str, object]], column: Column
) -> tuple[NDArray[np.float64], list[Fault]]:
    stated = read(spread_kind(name, kind), [row.get(f"{name}_u", ABSENT) for row in rows], text=False)
    spread = np.where(stated.present, stated.values, 0.0)
    faults = [fault.under(f"{name}_u").under(str(at)) for at, found in stated.faults.items() for fault in found]
    if column.spread is not None:
        spread = np.hypot(spread, column.spread)  # told twice, they count as two independent causes
    return spread, faults


def unknown(name: str, value: object, known: Sequence[str]) -> Fault:
    """The fault of a name that a question may not bear."""
    meant = near(name, known)
    hint = f"; did you mean {one_of(meant)}?" if meant else ""
    return Fault(f"/{escape_name(name)}", f"unknown name {echo(name)!r}{hint}", echo(value), one_of(known))


def missing(name: str, kind: Kind) -> Fault:
    """The fault of a required input that was not given."""
    return Fault(f"/{name}", f"{name} is required", None, accepts(kind))


def escape_name(name: str) -> str:
    """A user's own name, cut and escaped for a JSON Pointer."""
    return str(echo(name)).replace("~", "~0").replace("/", "~1")
