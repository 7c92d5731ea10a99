"""Compute the chart of a sweep: a line for one varied input; a map for two, or several lines where one is a choice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.charts import formatting
from gramwatt.charts.chart_data import Body, ChartData, Graph, HeatMap, Line, NothingToDraw, Panel, Range
from gramwatt.charts.curves import GridResults, compute_grid
from gramwatt.engine import nested
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.response import get_declared_units
from gramwatt.engine.tables.sweep import Axis
from gramwatt.model import Array, Calculator, Choice, Count, Flag, Kind, Quantity, Text, units
from gramwatt.model.messages import InputError, join_with_and, join_with_or, lower_first, quote_input, suggest

MAX_RESULTS: Final = 4
"""Results in one chart, a panel each."""
MAX_AXES: Final = 2
MAX_LINE_POINTS: Final = 2000
MAX_MAP_POINTS: Final = 101
"""Points along each axis of a map."""
MAX_LINES: Final = 6
"""Lines in one panel that people can tell apart."""


def drawable_results(calculator: Calculator[Any, Any]) -> list[str]:
    """Return the results that can be drawn: those that are one number."""
    return [name for name, kind in calculator.result_fields.items() if isinstance(kind, Quantity | Count)]


def select_results(
    calculator: Calculator[Any, Any], names: str | None, errors: list[InputError], axes: int
) -> list[str]:
    """Return the results to draw, by default the first that can be drawn. Append problems to ``errors``."""
    drawable, max_results = drawable_results(calculator), 1 if axes > 1 else MAX_RESULTS
    if not names:
        return drawable[:1]
    selected = names.split(",")
    given = quote_input(names)
    for name in selected:
        if name not in drawable:
            detail = f"{quote_input(name)} is no result that can be drawn{suggest(name, drawable)}"
            errors.append(InputError("/show", detail, given, join_with_or(drawable)))
    if len(set(selected)) != len(selected) or len(selected) > max_results:
        errors.append(InputError("/show", f"{len(selected)} results", given, f"up to {max_results}, each once"))
    return selected


def check_axes(calculator: Calculator[Any, Any], axes: Sequence[Axis]) -> list[InputError]:
    """Return what keeps these inputs from being the axes of a chart."""
    errors = [error for axis in axes if (error := _check_axis(calculator, axis, len(axes))) is not None]
    if len(axes) > MAX_AXES:
        errors.append(InputError("/vary", f"{len(axes)} inputs are varied", None, "one, or two for a map"))
    elif len(axes) == MAX_AXES and not errors:
        not_numeric = [axis for axis in axes if not _is_numeric(calculator.input_fields[axis.name])]
        if len(not_numeric) == 2:
            detail = "two inputs without numbers make no chart"
            errors.append(InputError("/vary", detail, None, "one of them with numbers"))
        elif not_numeric and not_numeric[0].count > MAX_LINES:
            detail = f"{not_numeric[0].count} lines cannot be distinguished"
            errors.append(InputError(f"/{not_numeric[0].name}", detail, None, f"up to {MAX_LINES} values"))
    return errors


def _check_axis(calculator: Calculator[Any, Any], axis: Axis, axes: int) -> InputError | None:
    pointer = f"/{axis.name}"
    if calculator.input_fields[axis.name].is_nested:
        accepted = (name for name, kind in calculator.input_fields.items() if not kind.is_nested)
        return InputError(pointer, "a list or a table cannot be an axis", None, join_with_or(accepted))
    if axis.count < 2:
        return InputError(pointer, "one point makes no line", None, "two values or more")
    max_points = MAX_MAP_POINTS if axes > 1 else MAX_LINE_POINTS
    if axis.count > max_points:
        return InputError(pointer, f"{axis.count} points", None, f"up to {max_points} in a chart")
    return None


def _is_numeric(kind: Kind) -> bool:
    return isinstance(kind, Quantity | Count)


@dataclass(frozen=True, slots=True)
class _Sweep:
    """The results of a sweep, and the units that they are in."""

    calculator: Calculator[Any, Any]
    results: GridResults
    units: Mapping[str, str]
    text: bool

    def positions(self, axis: Axis) -> tuple[Array, tuple[str, ...]]:
        """Return where the points of an axis lie, in the input's own unit; or 0, 1, 2, ... and the text there."""
        kind = self.calculator.input_fields[axis.name]
        indices = np.arange(axis.count)
        if isinstance(kind, Choice | Text | Flag):
            return indices.astype(np.float64), tuple(str(cell) for cell in axis.cells)
        cells = nested.read_column(kind, axis.column(indices), text=self.text)
        values = np.where([row not in cells.errors for row in range(axis.count)], cells.values, np.nan)
        return (units.convert_from_si(values, kind.unit) if isinstance(kind, Quantity) else values), ()

    def label(self, name: str) -> str:
        """Return the label of an input or a result."""
        return formatting.get_field_label(self.calculator, name)

    def axis_unit(self, axis: Axis) -> str:
        """Return the unit of an axis."""
        return formatting.declared_unit(self.calculator.input_fields[axis.name])

    def axis_label(self, axis: Axis) -> str:
        """Return the label of an axis."""
        return formatting.axis_label(self.label(axis.name), self.axis_unit(axis))


def compute_chart(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    axes: Sequence[Axis],
    names: Sequence[str],
    *,
    text: bool,
    result_units: Mapping[str, str],
) -> ChartData:
    """Return the chart of a sweep whose axes `check_axes` has accepted.

    Raises
    ------
    NothingToDraw
        No point of an axis is valid.
    """
    unread = _Sweep(calculator, GridResults({}, {}), {}, text)
    if any(not np.isfinite(unread.positions(axis)[0]).any() for axis in axes):
        raise NothingToDraw("There is nothing to draw: an axis has no valid value.")
    results = compute_grid(calculator, constants, axes, text=text, result_units=result_units, names=names)
    sweep = _Sweep(calculator, results, {**get_declared_units(calculator.result_fields), **result_units}, text)
    not_numeric = [axis for axis in axes if not _is_numeric(calculator.input_fields[axis.name])]
    if len(axes) == 1:
        body, description = _make_lines(sweep, axes[0], None, names)
    elif not_numeric:
        groups = not_numeric[0]
        x_axis = next(axis for axis in axes if axis is not groups)
        body, description = _make_lines(sweep, x_axis, groups, names, transposed=axes[0] is not groups)
    else:
        body, description = _make_map(sweep, axes, names[0])
    summary = _summarize_constants(calculator, constants)
    return ChartData(_make_title(sweep, names, axes), summary, formatting.sentence(description), body)


def _make_title(sweep: _Sweep, names: Sequence[str], axes: Sequence[Axis]) -> str:
    """Return what is drawn against what."""
    shown, varied = (
        join_with_and(lower_first(sweep.label(name)) for name in each) for each in (names, [axis.name for axis in axes])
    )
    return formatting.sentence_case(f"{shown} against {varied}")


def _summarize_constants(calculator: Calculator[Any, Any], constants: Mapping[str, object]) -> str:
    constants = {name: value for name, value in constants.items() if name != MEMBER}
    shown = list(constants.items())[: formatting.MAX_INPUTS]
    fields = calculator.input_fields  # without the members that choose a row of a craft
    parts = [
        f"{formatting.get_field_label(calculator, name)} {_format_input(fields.get(name), value)}"
        for name, value in shown
    ]
    more = len(constants) - len(shown)
    return " · ".join(parts + ([f"{more} more"] if more else []))


def _format_input(kind: Kind | None, value: object) -> str:
    """Return an input as it was given; add the declared unit to a bare number."""
    if isinstance(value, list):
        return f"of {len(value)}"
    is_bare = isinstance(kind, Quantity) and str(value)[-1:].isdigit()
    unit = formatting.declared_unit(kind) if kind is not None and is_bare else "1"
    return formatting.add_unit(str(quote_input(value)), unit)


def _make_lines(
    sweep: _Sweep, x_axis: Axis, groups: Axis | None, names: Sequence[str], *, transposed: bool = False
) -> tuple[Body, str]:
    """Return a panel for each result with a line for each group. ``transposed``: the groups vary fastest."""
    x, tick_labels = sweep.positions(x_axis)
    kind, unit = sweep.calculator.input_fields[x_axis.name], sweep.axis_unit(x_axis)
    group_labels = sweep.positions(groups)[1] if groups else ("",)
    shape = (x_axis.count, len(group_labels)) if transposed else (len(group_labels), x_axis.count)
    order = np.argsort(x, kind="stable")

    def by_group(column: Array) -> Array:
        grid = column.reshape(shape)
        return grid.T if transposed else grid

    panels, trends = [], []
    for name in names:
        result_unit = sweep.units.get(name, "1")
        values, whole = by_group(sweep.results.values(name)), sweep.results.range(name)
        lines = []
        for index, group in enumerate(group_labels):
            y = values[index][order]
            own_range = None
            if whole is not None:
                low, high = (by_group(end)[index][order] for end in (whole.low, whole.high))
                own_range = Range(low, high, whole.is_partial)
            lines.append(Line(x[order], y, own_range, group, joined=isinstance(kind, Quantity)))
            label = lower_first(sweep.label(name)) + (f" with {group}" if group else "")
            trends.append(formatting.describe_trend(label, y, result_unit))
        is_count = isinstance(sweep.calculator.result_fields[name], Count)
        panels.append(
            Panel(formatting.axis_label(sweep.label(name), result_unit), tuple(lines), integer_ticks=is_count)
        )
    known = x[np.isfinite(x)]
    if tick_labels:
        span = f"Over {lower_first(sweep.label(x_axis.name))} {', '.join(tick_labels)}"
    else:
        ends = [formatting.format_value(end, unit) for end in (known.min(), known.max())]
        span = f"As {lower_first(sweep.label(x_axis.name))} goes from {ends[0]} to {ends[1]}"
    graph = Graph(
        sweep.axis_label(x_axis), tuple(panels), tick_labels=tick_labels, integer_ticks=isinstance(kind, Count)
    )
    return graph, f"{span}, {'; '.join(trends)}"


def _make_map(sweep: _Sweep, axes: Sequence[Axis], name: str) -> tuple[Body, str]:
    (x, _), (y, _) = (sweep.positions(axis) for axis in axes)
    values = sweep.results.values(name).reshape((axes[0].count, axes[1].count)).T
    columns_order, rows_order = (np.argsort(each, kind="stable") for each in (x, y))
    columns_order = columns_order[np.isfinite(x[columns_order])]
    rows_order = rows_order[np.isfinite(y[rows_order])]
    x, y, values = x[columns_order], y[rows_order], values[np.ix_(rows_order, columns_order)]
    unit = sweep.units.get(name, "1")
    heat_map = HeatMap(
        sweep.axis_label(axes[0]),
        sweep.axis_label(axes[1]),
        formatting.axis_label(sweep.label(name), unit),
        x,
        y,
        values,
    )
    summary = f"has {formatting.NO_RESULT}"
    known = np.isfinite(values)
    if known.any():
        extremes = []
        for position in (np.where(known, values, np.inf).argmin(), np.where(known, values, -np.inf).argmax()):
            row, column = np.unravel_index(position, values.shape)
            place = ", ".join(
                f"{lower_first(sweep.label(axis.name))} {formatting.format_value(value, sweep.axis_unit(axis))}"
                for axis, value in zip(axes, (x[column], y[row]), strict=True)
            )
            extremes.append(f"{formatting.format_value(values[row, column], unit)} (at {place})")
        summary = f"is between {' and '.join(extremes)}"
    first, second = (lower_first(sweep.label(axis.name)) for axis in axes)
    return heat_map, f"Over {first} and {second}, {lower_first(sweep.label(name))} {summary}"
