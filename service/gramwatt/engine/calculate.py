"""Compute the response to one request: what the web, the command line and the library share."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping

from gramwatt.engine import registry
from gramwatt.engine.column_types import Cells, ConstantColumn
from gramwatt.engine.craft import has_craft, list_lacking_craft, split_request, take_inputs
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.engine.response import ResponseBody, build_response, check_result_units
from gramwatt.model import AnyCalculator
from gramwatt.model.messages import InputError, close_matches, join_with_or, quote_input


class InvalidInput(ValueError):
    """A request is invalid; ``errors`` lists everything that is wrong with it."""

    def __init__(self, errors: tuple[InputError, ...]) -> None:
        super().__init__("\n".join(format_error(error) for error in errors))
        self.errors = errors


class WorkLimitExceeded(InvalidInput):
    """A request is valid but asks for more work than one request may."""


class NoFiniteResult(InvalidInput):
    """A request is valid but a result has no finite value."""


class UnknownCalculator(LookupError):
    """There is no calculator of that name."""

    def __init__(self, name: str) -> None:
        known = registry.list_names()
        self.meant = close_matches(name, known)
        hint = f"Did you mean {join_with_or(self.meant)}?" if self.meant else f"Choose {join_with_or(known)}."
        super().__init__(f'Unknown calculator "{name[:80]}". {hint}')


def format_error(error: InputError) -> str:
    """Return an error as one line of text."""
    given = "" if error.given is None else f" (given {error.given!r})"
    return f"{error.place or 'request'}: {error.detail}{given}; accepted: {error.accepted}"


def get_calculator(name: str) -> AnyCalculator:
    """Return the calculator of that name. Raises UnknownCalculator with near matches."""
    try:
        return registry.get(name)
    except KeyError:
        raise UnknownCalculator(name) from None


def compute_response(
    calculator: AnyCalculator,
    inputs: Mapping[str, object],
    *,
    text: bool = False,
    result_units: Mapping[str, str] | None = None,
    working: bool = False,
) -> ResponseBody:
    """Compute the response to one request. ``text``: its values are text of a query rather than JSON values.

    Raises InvalidInput with all errors.
    """
    outcome = evaluate_request(calculator, inputs, text=text, result_units=result_units)
    return build_response(outcome, 0, result_units=result_units, working=working)


def evaluate_request(
    calculator: AnyCalculator,
    inputs: Mapping[str, object],
    *,
    text: bool = False,
    result_units: Mapping[str, str] | None = None,
) -> Outcome:
    """Evaluate one request; `build_response`, or a format of the calculator, shows the outcome.

    Raises InvalidInput with all errors, also those of requested units.
    """
    if has_craft(inputs):
        outcome, errors = _evaluate_with_craft(calculator, inputs, text=text)
    else:
        errors = []
        if not inputs.keys() <= calculator.input_fields.keys():
            _, choices, inputs = split_request(calculator, inputs)
            errors = list_lacking_craft(choices)
        outcome = evaluate_columns(calculator, {name: [value] for name, value in inputs.items()}, 1, text=text)
        errors += outcome.errors.get(0, ())
    if result_units:
        try:
            check_result_units(calculator, result_units)
        except ValueError as error:
            pairs = ",".join(f"{result}:{spelling}" for result, spelling in result_units.items())
            errors.append(InputError("/units", str(error), quote_input(pairs), "result:unit pairs"))
    if errors:
        is_unbounded = outcome.is_unbounded and len(errors) == len(outcome.errors[0])
        kind = WorkLimitExceeded if outcome.over_budget else NoFiniteResult if is_unbounded else InvalidInput
        raise kind(tuple(errors))
    return outcome


def _evaluate_with_craft(
    calculator: AnyCalculator, inputs: Mapping[str, object], *, text: bool
) -> tuple[Outcome, list[InputError]]:
    """Evaluate a request with a craft document, whose values are JSON values beside own inputs that may be text."""
    document, choices, own = split_request(calculator, inputs)
    taken = take_inputs(calculator, document, choices, own, text=text)
    cells: dict[str, Cells] = {
        **{name: ConstantColumn(value, 1, text=text) for name, value in own.items()},
        **{name: [value] for name, value in taken.inputs.items()},
    }
    outcome = evaluate_columns(calculator, cells, 1, text=False)
    from_craft = tuple(name for name in calculator.input_fields if name in taken.inputs)
    return dataclasses.replace(outcome, from_craft=from_craft, chosen=taken.chosen), taken.locate(
        outcome.errors.get(0, ())
    )


def calculate(
    name: str,
    /,
    *,
    units: Mapping[str, str] | None = None,
    working: bool = False,
    craft: Mapping[str, object] | str | os.PathLike[str] | None = None,
    **inputs: object,
) -> ResponseBody:
    """Compute a calculator by name: ``calculate("pack-energy", cells=6, capacity="1.3 Ah")``.

    Inputs are numbers in the calculator's own units, or texts with a unit and optionally ``± u``; ``units`` converts
    results by name; ``working`` adds formulas, numbers and references. ``craft`` is a craft document, its
    JSON text, or the path of one in JSON or YAML, whose inputs are used beside the others; ``pack``, ``propeller`` or
    ``flight`` name a row of its tables. Returns what the service responds as JSON.
    Raises UnknownCalculator or InvalidInput.
    """
    if craft is not None:
        from gramwatt.engine.craft_files import read_craft

        inputs[MEMBER] = read_craft(craft) if isinstance(craft, str | os.PathLike) else craft
    return compute_response(get_calculator(name), inputs, result_units=units, working=working)
