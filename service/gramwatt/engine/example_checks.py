"""What a calculator must pass before it is released: its units are in the table and its own examples come out.

The tests and `gramwatt check` run this. The service does not, since nothing changes between a release and its start.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from gramwatt.engine.calculate import InvalidInput, compute_response
from gramwatt.model import (
    AnyCalculator,
    DeclarationError,
    Kind,
    units,
)

MIN_TOLERANCE: Final = 5e-12  # rounding to 12 digits changes a result by less


def verify(calculator: AnyCalculator) -> None:
    """Raise DeclarationError, listing every unknown unit and every example that does not come out."""
    problems = list(find_problems(calculator))
    if problems:
        raise DeclarationError(f"{calculator.name}: " + "; ".join(problems))


def find_problems(calculator: AnyCalculator) -> Iterator[str]:
    """Yield a sentence for each unknown unit; if there is none, for each example that is missing or wrong."""
    unknown = [problem for name, kind in _fields(calculator) for problem in _unknown_units(name, kind)]
    if unknown:
        yield from unknown
        return  # no example can be computed
    if len({repr(example.given) for example in calculator.examples}) < 2:
        yield "give at least two examples with different inputs"
    for example in calculator.examples:
        try:
            results = compute_response(calculator, example.given)["results"]
        except InvalidInput as error:
            yield f"example {example.title!r} fails: {error}"
            continue
        except Exception as error:  # whatever a formula may raise
            yield f"example {example.title!r} fails: {type(error).__name__}: {error}"
            continue
        for name, expected in example.expected.items():
            if not _agrees(results[name], expected, example.rtol):
                yield f"example {example.title!r}: {name} is {results[name]}, expected {expected}"


def _fields(calculator: AnyCalculator) -> Iterator[tuple[str, Kind]]:
    yield from calculator.input_fields.items()
    yield from calculator.result_fields.items()


def _unknown_units(name: str, kind: Kind) -> Iterator[str]:
    for column, inner in kind.columns.items():
        yield from _unknown_units(f"{name}.{column}", inner)
    if kind.quantity is not None:
        try:
            units.get_unit(kind.quantity.unit)
        except DeclarationError as error:
            yield f"{name}: {error}"


def _agrees(problems: object, expected: object, rtol: float) -> bool:
    if isinstance(problems, int | float) and isinstance(expected, int | float):
        return math.isclose(problems, expected, rel_tol=max(rtol, MIN_TOLERANCE), abs_tol=MIN_TOLERANCE)
    return problems == expected
