"""What if: one or two inputs of a form varied over a range, as a chart and as a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from gramwatt.charts import sweep_charts
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.formatting import label_with_unit
from gramwatt.engine.calculate import InvalidInput
from gramwatt.engine.tables import batch, sweep
from gramwatt.engine.tables.grid_cost import check_grid
from gramwatt.engine.tables.plan import make_plan
from gramwatt.model import Calculator, Count, Kind
from gramwatt.model.messages import InputError, format_number
from gramwatt.web.pages.form_reader import FormData, VariedInput, with_decimal_point

LINE_POINTS: Final = 41
MAP_POINTS: Final = 13
"""Points along each of two axes."""
SPREAD: Final = 0.5
"""A range that is not given reaches from this share below the present value to this share above."""
COUNT_SPREAD: Final = 2
"""The same for a count: how many fewer, and how many more."""


@dataclass(frozen=True, slots=True)
class WhatIfAxis:
    """The controls of one varied input: its name, and the range that is used while none is given."""

    name: str
    start: str
    stop: str
    usual_start: str
    usual_stop: str


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The controls, and what is wrong with them."""

    inputs: tuple[tuple[str, str], ...]
    """Names and labels of the inputs that can vary."""
    axes: tuple[WhatIfAxis, WhatIfAxis]
    errors: tuple[str, ...] = ()

    @property
    def is_used(self) -> bool:
        """Whether an input is varied."""
        return any(axis.name for axis in self.axes)


def make_what_if(calculator: Calculator[Any, Any], form: FormData, response: Mapping[str, Any]) -> WhatIf:
    """Return the controls, filled as in the form."""
    names = sweep.variable_inputs(calculator)
    inputs = tuple((name, label_with_unit(name, calculator.input_fields[name])) for name in names)
    first, second = (_make_axis(calculator, varied, response, form.decimal) for varied in form.varied)
    _, errors = parse_axes(calculator, form, response)
    return WhatIf(inputs, (first, second), tuple(error.detail for error in errors))


def parse_axes(
    calculator: Calculator[Any, Any], form: FormData, response: Mapping[str, Any]
) -> tuple[list[sweep.Axis], list[InputError]]:
    """Return the varied inputs of a form, and the errors in them."""
    used = [varied for varied in form.varied if varied.name]
    axes: list[sweep.Axis] = []
    errors: list[InputError] = []
    for varied in used:
        kind, name_errors = sweep.find_range_kind(calculator, varied.name)
        if kind is None:
            errors += name_errors
            continue
        if varied.name in [axis.name for axis in axes]:
            errors.append(InputError("/vary", "Choose two different inputs", None, "one or two inputs"))
            continue
        control = _make_axis(calculator, varied, response, form.decimal)
        ends = control.start or control.usual_start, control.stop or control.usual_stop
        if not all(ends):
            label = label_with_unit(varied.name, kind)
            detail = f"{label}: give the ends of the range"
            errors.append(InputError("/vary", detail, None, "two ends"))
            continue
        count = LINE_POINTS if len(used) == 1 else MAP_POINTS
        start, stop = (with_decimal_point(end, form.decimal) for end in ends)
        axis, axis_errors = sweep.make_even_axis(calculator, varied.name, start, stop, count, text=True)
        errors += axis_errors
        if axis is not None:
            axes.append(axis)
    return axes, errors or sweep_charts.check_axes(calculator, axes)


def draw(calculator: Calculator[Any, Any], form: FormData, response: Mapping[str, Any]) -> ChartData:
    """Return the chart. Raises InvalidInput, NothingToDraw."""
    axes, errors = parse_axes(calculator, form, response)
    shown = sweep_charts.select_results(calculator, None, errors, len(axes))
    if errors:
        raise InvalidInput(tuple(errors))
    constants = _list_constants(form, axes)
    return sweep_charts.compute_chart(calculator, constants, axes, shown, text=False, result_units=form.result_units)


def write_csv(calculator: Calculator[Any, Any], form: FormData, response: Mapping[str, Any]) -> bytes:
    """Return the table of all points. Raises InvalidInput."""
    axes, errors = parse_axes(calculator, form, response)
    plan, constant_errors, unit_errors = make_plan(
        calculator,
        _list_constants(form, axes),
        text=False,
        result_units=form.result_units,
        show_inputs=False,
        uncertain=True,
        own=[axis.name for axis in axes],
    )
    if errors or constant_errors or unit_errors or not axes:
        raise InvalidInput((*errors, *constant_errors, *unit_errors))
    check_grid(plan, axes)
    plan = sweep.show_axes(plan, axes)
    writer = batch.make_writer(plan, batch.TableFormat("csv"))
    chunks = sweep.read_grid(axes, text=False, rows=sweep.CHUNK_POINTS)
    return b"".join(batch.write_table(plan, chunks, writer, batch.RowCounts(), max_rows=None))


def _list_constants(form: FormData, axes: list[sweep.Axis]) -> dict[str, Any]:
    varied = {axis.name for axis in axes}
    return {name: value for name, value in form.inputs.items() if name not in varied}


def _make_axis(
    calculator: Calculator[Any, Any], varied: VariedInput, response: Mapping[str, Any], decimal: str
) -> WhatIfAxis:
    """Return the controls of an axis; around the present value where no range is given."""
    value = response["inputs"].get(varied.name)
    usual_start = usual_stop = ""
    if isinstance(value, int | float) and not isinstance(value, bool):
        kind = calculator.input_fields[varied.name]
        start, stop = _usual_range(kind, value)
        if start < stop:
            usual_start, usual_stop = (format_number(end, 4).replace(".", decimal) for end in (start, stop))
    return WhatIfAxis(varied.name, varied.start, varied.stop, usual_start, usual_stop)


def _usual_range(kind: Kind, value: float) -> tuple[float, float]:
    """Return the range around a present value; of no width around a quantity of 0."""
    if isinstance(kind, Count):
        return max(kind.at_least, value - COUNT_SPREAD), min(kind.at_most, value + COUNT_SPREAD)
    start, stop = sorted((value * (1 - SPREAD), value * (1 + SPREAD)))
    return start, stop
