"""What a calculator must pass before it is served: its units are in the table and its own examples come out."""

from __future__ import annotations

import math
from typing import Any, Final

from gramwatt.declare import Calculator, DeclarationError, Kind, Quantity, Samples, Series, Spread, Table, fields_of
from gramwatt.edge import units
from gramwatt.edge.ask import Refused, ask

TWELVE_DIGITS: Final = 5e-12  # all that an answer carries


def verify(calculator: Calculator[Any, Any]) -> None:
    """Raise DeclarationError, naming the field, where a unit is unknown or an example does not come out."""
    for name, kind in {**calculator.asked, **calculator.answered}.items():
        _verify_unit(calculator, name, kind)
    for example in calculator.examples:
        try:
            results = ask(calculator, example.given)["results"]
        except (Refused, TypeError) as error:
            raise DeclarationError(f"{calculator.name}: example {example.title!r} fails: {error}") from error
        for name, expected in example.expected.items():
            if not _agrees(results[name], expected, example.rtol):
                raise DeclarationError(
                    f"{calculator.name}: example {example.title!r}: {name} is {results[name]}, expected {expected}"
                )


def _verify_unit(calculator: Calculator[Any, Any], name: str, kind: Kind) -> None:
    if isinstance(kind, Table | Samples):
        for inner, column in fields_of(kind.row).items():
            _verify_unit(calculator, f"{name}.{inner}", column)
    quantity = kind.item if isinstance(kind, Series) else kind
    if isinstance(quantity, Quantity) and not isinstance(kind, Spread):
        try:
            units.unit(quantity.unit)
        except DeclarationError as error:
            raise DeclarationError(f"{calculator.name}: {name}: {error}") from error


def _agrees(found: object, expected: object, rtol: float) -> bool:
    if isinstance(found, int | float) and isinstance(expected, int | float):
        return math.isclose(found, expected, rel_tol=max(rtol, TWELVE_DIGITS), abs_tol=TWELVE_DIGITS)
    return found == expected
