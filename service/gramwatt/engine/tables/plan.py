"""The plan of a table: what all rows share, and what the output contains."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from gramwatt.engine import registry
from gramwatt.engine.column_types import column_uncertainties
from gramwatt.engine.columns import unknown_input_errors
from gramwatt.engine.craft import list_lacking_craft, parse_document
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.draws import FEW_DRAWS
from gramwatt.engine.nested import read_column
from gramwatt.engine.response import check_result_units, get_declared_units
from gramwatt.engine.row_names import collect_names
from gramwatt.engine.strict_json import InvalidJson
from gramwatt.engine.tables.craft_columns import NOTHING, list_members, take_and_check_craft, take_for_constants
from gramwatt.model import RANGE_SUFFIXES, Calculator, Count, Kind, Quantity, units
from gramwatt.model.messages import InputError, quote_input

_PART_TEXTS: Final = {
    "standard": "Standard uncertainty of",
    "low": "2.5th percentile of the likely values of",
    "high": "97.5th percentile of the likely values of",
}


@dataclass(frozen=True, slots=True)
class Plan:
    """What all rows share, and what the output contains. It can be sent to another process."""

    calculator_name: str
    constants: Mapping[str, object] = field(default_factory=dict)
    """Inputs that all rows share."""
    text: bool = True
    """Whether the constants are text, as in a query, rather than JSON values."""
    result_units: Mapping[str, str] = field(default_factory=dict)
    shown_inputs: tuple[str, ...] = ()
    """Inputs that are output columns."""
    uncertain: bool = False
    """Whether uncertainty is propagated, to columns ``<result>_u``, ``<result>_low`` and ``<result>_high``."""
    draws: int = FEW_DRAWS
    """Draws of each row, where uncertainty is propagated."""

    @property
    def calculator(self) -> Calculator[Any, Any]:
        """The calculator."""
        return registry.get(self.calculator_name)


@dataclass(frozen=True, slots=True)
class OutputColumn:
    """A column of the output. Its unit is ``1`` if it has none."""

    name: str
    kind: Kind
    unit: str
    section: Literal["given", "results", "uncertainty"]
    field: str
    """The input, or the result."""
    part: str = ""
    """Of an uncertainty: ``standard``, ``low`` or ``high``."""


@functools.lru_cache(maxsize=256)
def _list_columns(
    calculator: Calculator[Any, Any],
    chosen_units: tuple[tuple[str, str], ...],
    shown_inputs: tuple[str, ...],
    uncertain: bool,
) -> Any:
    unit_of = {
        **get_declared_units(calculator.input_fields),
        **get_declared_units(calculator.result_fields),
        **dict(chosen_units),
    }
    columns = [
        OutputColumn(name, calculator.input_fields[name], unit_of.get(name, "1"), "given", name)
        for name in shown_inputs
        if name not in calculator.result_fields
    ]
    for name, kind in calculator.result_fields.items():
        unit = unit_of.get(name, "1")
        columns.append(OutputColumn(name, kind, unit, "results", name))
        if uncertain and isinstance(kind, Quantity | Count) and not (isinstance(kind, Quantity) and kind.exact):
            columns += _list_range(name, kind, unit)
    return tuple(columns)


def _list_range(name: str, kind: Quantity | Count, unit: str) -> Iterator[OutputColumn]:
    """Yield the columns of the uncertainty of a result in a unit."""
    whole = kind if isinstance(kind, Quantity) else Quantity("1", "")
    for part, suffix in RANGE_SUFFIXES.items():
        text = f"{_PART_TEXTS[part]} {name}."
        if part == "standard":
            part_unit = units.get_difference_unit(unit)
            part_kind = Quantity(part_unit, text)
        else:
            part_unit, part_kind = unit, dataclasses.replace(whole, description=text)
        yield OutputColumn(name + suffix, part_kind, part_unit, "uncertainty", name, part)


def output_columns(plan: Plan) -> tuple[OutputColumn, ...]:
    """Return the output columns in order, before ``cautions`` and ``error``."""
    columns: tuple[OutputColumn, ...] = _list_columns(
        plan.calculator, tuple(plan.result_units.items()), plan.shown_inputs, plan.uncertain
    )
    return columns


def standing_codes(calculator: Calculator[Any, Any]) -> tuple[str, ...]:
    """Return the codes of the cautions that hold for any inputs."""
    return tuple(caution.code for caution in calculator.cautions if caution.is_always_shown)


def check_constants(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    *,
    text: bool,
    own: Collection[str] | None = (),
) -> list[InputError]:
    """Return the errors of the inputs that all rows share.

    ``own`` are the inputs that rows give themselves; None where these are in a header, which checks the craft then.
    """
    fields = calculator.input_fields
    taken, errors = (NOTHING, []) if own is None else take_and_check_craft(calculator, constants, own, text=text)
    members = list_members(calculator)
    inputs = {name: [value] for name, value in {**constants, **taken.inputs}.items()}
    names = collect_names(calculator, inputs, complete=False)
    compared = 0
    if MEMBER not in constants:
        errors += list_lacking_craft({name: cell for name, cell in constants.items() if name in members})
    for name, cell in constants.items():
        if name in members:
            continue
        if name in fields:
            errors += [
                error.under(name)
                for error in read_column(fields[name], [cell], text=text, names=names).errors.get(0, ())
            ]
        else:
            errors += unknown_input_errors({name: cell}, tuple(fields), fields, compared)
            compared += 1
    return errors


def make_plan(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    *,
    text: bool,
    result_units: Mapping[str, str],
    show_inputs: bool,
    uncertain: bool,
    own: Collection[str] | None = (),
) -> tuple[Plan, list[InputError], list[InputError]]:
    """Return a plan, the errors of the inputs that all rows share, and those of the chosen units.

    ``own`` are the inputs that rows give themselves; see `check_constants`.
    """
    input_errors = check_constants(calculator, constants, text=text, own=own)
    document = constants.get(MEMBER)
    if text and isinstance(document, str) and not input_errors:
        with contextlib.suppress(InvalidJson):  # an error of the table, found with its header
            constants = {**constants, MEMBER: parse_document(document)}
    unit_errors = []
    try:
        check_result_units(calculator, result_units)
    except ValueError as error:
        given = ",".join(f"{name}:{unit}" for name, unit in result_units.items())
        unit_errors.append(InputError("/units", str(error), quote_input(given), "result:unit pairs"))
    uncertain = uncertain or (not input_errors and carries_uncertainty(calculator, constants, own or (), text=text))
    shown_inputs = tuple(calculator.input_fields) if show_inputs else ()
    plan = Plan(calculator.name, dict(constants), text, result_units, shown_inputs, uncertain)
    return plan, input_errors, unit_errors


def carries_uncertainty(
    calculator: Calculator[Any, Any], constants: Mapping[str, object], own: Collection[str], *, text: bool
) -> bool:
    """Return whether any input that all rows share, beside those named ``own``, has an uncertainty."""
    taken = take_for_constants(calculator, constants, own, text=text).inputs
    columns = [
        read_column(calculator.input_fields[name], [cell], text=text and name not in taken)
        for name, cell in {**constants, **taken}.items()
        if name in calculator.input_fields
    ]
    uncertainties = [
        uncertainty
        for column in columns
        for uncertainty in (column.uncertainty, *column_uncertainties(column).values())
    ]
    return any(uncertainty is not None and uncertainty.any() for uncertainty in uncertainties)
