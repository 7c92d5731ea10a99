"""Parse the axes of a sweep: from the query of a GET, or from ``given`` and ``vary`` in the body of a POST."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from flask import request

from gramwatt.engine.columns import escape_name
from gramwatt.engine.limits import MAX_AXES
from gramwatt.engine.tables import sweep
from gramwatt.engine.tables.plan import check_constants
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError, join_with_or, quote_input
from gramwatt.web.table_options import get_max_points

AXIS_NAMES: Final = ("vary", "values", "from", "to", "count")


def parse_sweep_body(
    calculator: Calculator[Any, Any], body: dict[str, Any], errors: list[InputError]
) -> tuple[dict[str, Any], list[sweep.Axis]]:
    """Return the constant inputs and the axes of a body with ``given`` and ``vary``; append to ``errors``."""
    given, vary = body.pop("given", {}), body.pop("vary", {})
    errors += [
        InputError(f"/{escape_name(name)}", "unknown member", quote_input(value), "given and vary")
        for name, value in body.items()
    ]
    for name, value in (("given", given), ("vary", vary)):
        if not isinstance(value, dict):
            errors.append(InputError(f"/{name}", "not an object", quote_input(value), "an object with names of inputs"))
    vary = vary if isinstance(vary, dict) else {}
    given = given if isinstance(given, dict) else {}
    overridden = check_constants(calculator, {n: v for n, v in given.items() if n in vary}, text=False)
    errors += [error.under("given") for error in overridden]
    constants = {name: value for name, value in given.items() if name not in vary}
    return constants, _parse_body_axes(calculator, vary, errors)


def parse_query_axes(
    calculator: Calculator[Any, Any], inputs: dict[str, str], errors: list[InputError]
) -> list[sweep.Axis]:
    """Return the axes of the current query, and remove their inputs from ``inputs``; append to ``errors``.

    Each ``vary`` takes the next of ``values``; where that is empty, the next of ``from``, ``to`` and ``count``. A
    single value of a varied input is checked but not used.
    """
    ranges = {name: request.args.getlist(name) for name in AXIS_NAMES}
    axes: list[sweep.Axis | None] = []
    for name in dict.fromkeys(ranges["vary"]):
        text = inputs.pop(name, None)
        if listed := ranges["values"].pop(0) if ranges["values"] else "":
            axis, axis_errors = sweep.make_list_axis(calculator, name, listed.split(","))
        else:
            ends = {end: ranges[end].pop(0) if ranges[end] else None for end in ("from", "to", "count")}
            axis, axis_errors = _make_even_axis(calculator, name, ends, text=True)
        axis_errors += check_constants(calculator, {} if text is None else {name: text}, text=True)
        axes.append(axis)
        errors += axis_errors
    for end in AXIS_NAMES[1:]:
        if ranges[end]:
            errors.append(
                InputError(f"/{end}", f"{end} without an input to vary", quote_input(ranges[end][0]), "vary=name")
            )
    return _check_axes(calculator, axes, len(set(ranges["vary"])), errors)


def _parse_body_axes(
    calculator: Calculator[Any, Any], vary: Mapping[str, object], errors: list[InputError]
) -> list[sweep.Axis]:
    axes: list[sweep.Axis | None] = []
    for name, points in vary.items():
        values = points.get("values") if isinstance(points, dict) and set(points) == {"values"} else None
        if isinstance(values, list):
            axis, axis_errors = sweep.make_list_axis(calculator, name, values)
        elif isinstance(points, dict) and set(points) == {"from", "to", "count"}:
            axis, axis_errors = _make_even_axis(calculator, name, points, text=False)
        else:
            accepted = "an object with a list of values, or with from, to and count"
            axis, axis_errors = None, [InputError("", "neither values nor a range", quote_input(points), accepted)]
        axes.append(axis)
        pointer = f"/{escape_name(name)}"
        errors += [(error if error.pointer == pointer else error.under(name)).under("vary") for error in axis_errors]
    return _check_axes(calculator, axes, len(vary), errors, under="vary")


def _make_even_axis(
    calculator: Calculator[Any, Any], name: str, ends: Mapping[str, object], *, text: bool
) -> tuple[sweep.Axis | None, list[InputError]]:
    max_points = get_max_points(calculator)
    count = _parse_count(ends["count"], text=text)
    errors = []
    if count is None or not 2 <= count <= max_points:
        detail = f"{name}: invalid number of points"
        errors.append(InputError("/count", detail, quote_input(ends["count"]), f"2 to {max_points}"))
        count = 2
    missing = [end for end in ("from", "to") if ends[end] is None]
    if missing:
        errors += [
            InputError(f"/{end}", f"{name} is varied, but {end} is missing", None, "an end of the range")
            for end in missing
        ]
        return None, errors
    axis, axis_errors = sweep.make_even_axis(calculator, name, ends["from"], ends["to"], count, text=text)
    return axis, errors + axis_errors


def _parse_count(value: object, *, text: bool) -> int | None:
    if text and isinstance(value, str) and value.isascii() and value.isdigit() and len(value) < 9:
        return int(value)
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def _check_axes(
    calculator: Calculator[Any, Any],
    axes: Sequence[sweep.Axis | None],
    count: int,
    errors: list[InputError],
    *,
    under: str | None = None,
) -> list[sweep.Axis]:
    """Return the valid axes; append to ``errors`` if too few or too many inputs, or too many points, are varied."""
    if not 1 <= count <= MAX_AXES:
        detail = "no input is varied" if count == 0 else f"{count} inputs are varied"
        accepted = f"one or two of {join_with_or(sweep.variable_inputs(calculator))}"
        errors.append(InputError("/vary", detail, None, accepted))
    valid = [axis for axis in axes if axis is not None]
    max_points = get_max_points(calculator)
    for axis in valid:
        if axis.count > max_points:
            error = InputError(f"/{axis.name}", f"{axis.count} points", None, f"up to {max_points} points")
            errors.append(error if under is None else error.under(under))
    return valid
