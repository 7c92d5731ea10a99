"""Finding the calculators: one visible call, no registration on import."""

from __future__ import annotations

import functools
import importlib
import pkgutil
from types import MappingProxyType
from typing import Any

from gramwatt import calculators
from gramwatt.declare import Calculator, DeclarationError


@functools.cache
def load() -> MappingProxyType[str, Calculator[Any, Any]]:
    """Every calculator by its name in URLs, sorted. Raises DeclarationError naming the file at fault."""
    found: dict[str, Calculator[Any, Any]] = {}
    for module in sorted(pkgutil.iter_modules(calculators.__path__), key=lambda each: each.name):
        calculator = getattr(importlib.import_module(f"{calculators.__name__}.{module.name}"), "CALCULATOR", None)
        found[module.name.replace("_", "-")] = checked(module.name, calculator)
    return MappingProxyType(found)


def checked(file_name: str, calculator: object) -> Calculator[Any, Any]:
    """The calculator that a file must hold. Raises DeclarationError where it does not."""
    if not isinstance(calculator, Calculator):
        raise DeclarationError(f"calculators/{file_name}.py: no CALCULATOR = Calculator(...)")
    if calculator.formula.__name__ != file_name:
        raise DeclarationError(f"calculators/{file_name}.py: its formula is named {calculator.formula.__name__}")
    return calculator
