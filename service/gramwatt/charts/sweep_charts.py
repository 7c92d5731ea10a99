"""The picture of a sweep: one input varied is a line, two are a map, or a few lines where one of them is a choice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from gramwatt.charts import formatting
from gramwatt.charts.chart_data import Body, ChartData, Graph, HeatMap, Line, NothingToDraw, Panel
from gramwatt.charts.curves import Points, points
from gramwatt.engine import nested
from gramwatt.engine.messages import InputError, close_matches, join_with_or, quote_input
from gramwatt.engine.response import get_declared_units
from gramwatt.engine.tables import sweep
from gramwatt.model import NESTED, Array, Calculator, Choice, Count, Flag, Kind, Quantity, Text, units

MOST_SHOWN: Final = 4
"""Results in one picture, a panel each."""
MOST_AXES: Final = 2
MOST_POINTS: Final = 2000
MOST_MAPPED: Final = 101
"""Points along a line, and along each axis of a map."""
MOST_LINES: Final = 6
"""Lines that can be told apart."""


def drawable(calculator: Calculator[Any, Any]) -> list[str]:
    """The results that can be drawn over an input: those that are one number."""
    return [name for name, kind in calculator.result_fields.items() if isinstance(kind, Quantity | Count)]


def shown(calculator: Calculator[Any, Any], wish: str | None, errors: list[InputError], axes: int) -> list[str]:
    """The results wished for, the first that can be drawn unless any are; what is wrong is added to the faults."""
    known, most = drawable(calculator), 1 if axes > 1 else MOST_SHOWN
    if not wish:
        return known[:1]
    names = wish.split(",")
    for name in names:
        if name not in known:
            meant = close_matches(name, known)
            hint = f"; did you mean {join_with_or(meant)}?" if meant else ""
            errors.append(
                InputError(
                    "/show",
                    f"{quote_input(name)} is no result that can be drawn{hint}",
                    quote_input(wish),
                    join_with_or(known),
                )
            )
    if len(set(names)) != len(names) or len(names) > most:
        errors.append(InputError("/show", f"{len(names)} results", quote_input(wish), f"up to {most}, each once"))
    return names


def check(calculator: Calculator[Any, Any], axes: Sequence[sweep.Axis]) -> list[InputError]:
    """Whether these inputs can stand on the axes of a picture."""
    errors = []
    for axis in axes:
        kind = calculator.input_fields[axis.name]
        if isinstance(kind, NESTED):
            accepted = join_with_or(
                name for name, kind in calculator.input_fields.items() if not isinstance(kind, NESTED)
            )
            errors.append(InputError(f"/{axis.name}", "a list or a table stands on no axis", None, accepted))
        elif axis.count < 2:
            errors.append(InputError(f"/{axis.name}", "one point makes no line", None, "two values or more"))
        elif axis.count > (most := MOST_MAPPED if len(axes) > 1 else MOST_POINTS):
            errors.append(InputError(f"/{axis.name}", f"{axis.count} points", None, f"up to {most} to be drawn"))
    if len(axes) > MOST_AXES:
        errors.append(InputError("/vary", f"{len(axes)} inputs are varied", None, "one, or two for a map"))
    elif len(axes) == MOST_AXES and not errors:
        named = [axis for axis in axes if not _has_numbers(calculator.input_fields[axis.name])]
        if len(named) == 2:
            errors.append(
                InputError("/vary", "two inputs without numbers make no picture", None, "one of them with numbers")
            )
        elif named and named[0].count > MOST_LINES:
            detail = f"{named[0].count} lines cannot be told apart"
            errors.append(InputError(f"/{named[0].name}", detail, None, f"up to {MOST_LINES} values"))
    return errors


def _has_numbers(kind: Kind) -> bool:
    return isinstance(kind, Quantity | Count)


def make_figure(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    axes: Sequence[sweep.Axis],
    show: Sequence[str],
    *,
    text: bool,
    result_units: Mapping[str, str],
) -> ChartData:
    """The picture of a sweep that `check` has nothing against. Raises Nothing where no point of an axis can be read."""
    if any(not np.isfinite(_places(calculator, axis, text=text)[0]).any() for axis in axes):
        raise NothingToDraw("There is nothing to draw: an axis has no value that can be asked.")
    found = points(calculator, constants, axes, text=text, result_units=result_units, names=show)
    told_units = {**get_declared_units(calculator.result_fields), **result_units}
    if len(axes) == 1:
        body, told = _lines(calculator, axes[0], [], show, found, told_units, text=text)
    else:
        named = [axis for axis in axes if not _has_numbers(calculator.input_fields[axis.name])]
        if named:
            level = next(axis for axis in axes if axis is not named[0])
            turned = axes[0] is not named[0]
            body, told = _lines(calculator, level, named, show, found, told_units, text=text, turned=turned)
        else:
            body, told = _map(calculator, axes, show[0], found, told_units, text=text)
    given = list(constants.items())[: formatting.LONGEST]
    question = " · ".join(
        f"{formatting.spoken(name)} {_said(calculator.input_fields[name], value)}" for name, value in given
    )
    if len(constants) > len(given):
        question += f" · {len(constants) - len(given)} more"
    return ChartData(calculator.title, question, told, body)


def _said(kind: Kind, value: object) -> str:
    """An input as it was given; a bare number with the unit that it is in."""
    if isinstance(value, list):
        return f"of {len(value)}"
    bare = isinstance(kind, Quantity) and kind.unit != "1" and str(value)[-1:].isdigit()
    return f"{quote_input(value)} {kind.unit}" if isinstance(kind, Quantity) and bare else str(quote_input(value))


def _places(calculator: Calculator[Any, Any], axis: sweep.Axis, *, text: bool) -> tuple[Array, tuple[str, ...]]:
    """Where the points of an axis stand, in the input's own unit; or 0, 1, 2, ... and the words there."""
    kind = calculator.input_fields[axis.name]
    at = np.arange(axis.count)
    if isinstance(kind, Choice | Text | Flag):
        return at.astype(np.float64), tuple(str(cell) for cell in axis.cells)
    read = nested.read_column(kind, axis.column(at), text=text)
    values = np.where([row not in read.errors for row in range(axis.count)], read.values, np.nan)
    return (units.convert_from_si(values, kind.unit) if isinstance(kind, Quantity) else values), ()


def _lines(
    calculator: Calculator[Any, Any],
    axis: sweep.Axis,
    named: Sequence[sweep.Axis],
    show: Sequence[str],
    found: Points,
    told_units: Mapping[str, str],
    *,
    text: bool,
    turned: bool = False,
) -> tuple[Body, str]:
    x, ticks = _places(calculator, axis, text=text)
    kind, unit = calculator.input_fields[axis.name], formatting.own_unit(calculator.input_fields[axis.name])
    groups = _places(calculator, named[0], text=text)[1] if named else ("",)
    order = np.argsort(x, kind="stable")
    panels, said = [], []
    for name in show:
        own = told_units.get(name, "1")
        shape = (axis.count, len(groups)) if turned else (len(groups), axis.count)
        values, widths = found.values(name).reshape(shape), found.widths(name)
        spread = None if widths is None else widths.reshape(shape)
        if turned:
            values, spread = values.T, None if spread is None else spread.T
        lines = []
        for at, group in enumerate(groups):
            width = None if spread is None else spread[at][order]
            lines.append(Line(x[order], values[at][order], width, group, joined=isinstance(kind, Quantity)))
            said.append(
                formatting.course(
                    f"{formatting.spoken(name)}{f' with {group}' if group else ''}", values[at][order], own
                )
            )
        panels.append(Panel(formatting.axis(name, own), tuple(lines)))
    known = x[np.isfinite(x)]
    span = (
        f"over {', '.join(ticks)}"
        if ticks
        else f"goes from {formatting.value(known.min(), unit)} to {formatting.value(known.max(), unit)}"
    )
    told = f"As {formatting.spoken(axis.name)} {span}, {'; '.join(said)}"
    graph = Graph(formatting.axis(axis.name, unit), tuple(panels), ticks=ticks, whole=isinstance(kind, Count))
    return graph, formatting.sentence(told)


def _map(
    calculator: Calculator[Any, Any],
    axes: Sequence[sweep.Axis],
    name: str,
    found: Points,
    told_units: Mapping[str, str],
    *,
    text: bool,
) -> tuple[Body, str]:
    (across, _), (up, _) = (_places(calculator, axis, text=text) for axis in axes)
    values = found.values(name).reshape((axes[0].count, axes[1].count)).T
    order, rise = (np.argsort(each, kind="stable") for each in (across, up))
    order, rise = order[np.isfinite(across[order])], rise[np.isfinite(up[rise])]
    values = values[np.ix_(rise, order)]
    unit = told_units.get(name, "1")
    labels = [formatting.axis(axis.name, formatting.own_unit(calculator.input_fields[axis.name])) for axis in axes]
    known = values[np.isfinite(values)]
    said = "has no answer anywhere"
    if len(known):
        least, most = (
            np.unravel_index(np.argmin(np.where(np.isfinite(values), s * values, np.inf)), values.shape)
            for s in (1, -1)
        )
        ends = []
        for i, j in (least, most):
            place = zip(axes, (across[order][j], up[rise][i]), strict=True)
            units = {axis.name: formatting.own_unit(calculator.input_fields[axis.name]) for axis in axes}
            where = [f"{formatting.spoken(a.name)} {formatting.value(v, units[a.name])}" for a, v in place]
            ends.append(f"{formatting.value(values[i, j], unit)} (at {', '.join(where)})")
        said = f"lies between {' and '.join(ends)}"
    first, second = (formatting.spoken(axis.name) for axis in axes[:2])
    told = f"Over {first} and {second}, {formatting.spoken(name)} {said}"
    seen = HeatMap(labels[0], labels[1], formatting.axis(name, unit), across[order], up[rise], values)
    return seen, formatting.sentence(told)
