"""Finding the calculators: one file each, imported when it is first needed; no registration on import."""

from __future__ import annotations

import functools
import importlib
import pkgutil
from types import MappingProxyType

from gramwatt import calculators
from gramwatt.model import AnyCalculator, Calculator, DeclarationError


@functools.cache
def list_names() -> tuple[str, ...]:
    """Return the calculators' names in URLs, in the order of their files. Imports none of them."""
    files = sorted(
        module.name for module in pkgutil.iter_modules(calculators.__path__) if not module.name.startswith("_")
    )
    return tuple(file_name.replace("_", "-") for file_name in files)


@functools.cache
def get(name: str) -> AnyCalculator:
    """Import one calculator by its name in URLs.

    Raises KeyError where no file has the name, and DeclarationError, naming the file, where its declaration is wrong.
    """
    if name not in list_names():
        raise KeyError(name)
    file_name = name.replace("-", "_")
    try:
        module = importlib.import_module(f"{calculators.__name__}.{file_name}")
    except DeclarationError as error:
        raise DeclarationError(f"calculators/{file_name}.py: {error}") from error
    return check_module(file_name, getattr(module, "CALCULATOR", None))


@functools.cache
def load() -> MappingProxyType[str, AnyCalculator]:
    """Import every calculator and return them by name, in order. Raises DeclarationError naming the invalid file."""
    return MappingProxyType({name: get(name) for name in list_names()})


def check_module(file_name: str, calculator: object) -> AnyCalculator:
    """Return the calculator that a file must hold. Raises DeclarationError where it does not."""
    if not isinstance(calculator, Calculator):
        raise DeclarationError(f"calculators/{file_name}.py: no CALCULATOR = Calculator(...)")
    if calculator.formula.__name__ != file_name:
        raise DeclarationError(f"calculators/{file_name}.py: its formula is named {calculator.formula.__name__}")
    return calculator
