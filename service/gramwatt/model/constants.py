"""The constants of the kernels, by name, so that formulas can name them: ``mass * STANDARD_GRAVITY``."""

from __future__ import annotations

import functools
import importlib
import pkgutil
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from gramwatt import physics
from gramwatt.arrays import Unit
from gramwatt.model.messages import unit_sign


@dataclass(frozen=True, slots=True)
class Constant:
    """A number of a kernel module, or a table of them, in SI units."""

    name: str
    value: Any
    unit: str
    """As Pint reads it: ``m / s^2``."""
    module: str

    @property
    def sign(self) -> str:
        """The unit with the signs people use: ``m/s²``; empty for none."""
        return unit_sign(self.unit.replace(" / ", "/").replace("^", ""))

    @property
    def label(self) -> str:
        """The name in words."""
        return self.name.capitalize().replace("_", " ")


def list_constants() -> Iterator[Constant]:
    """Yield the public constants of all kernel modules that carry a unit."""
    for info in pkgutil.iter_modules(physics.__path__):
        module = importlib.import_module(f"{physics.__name__}.{info.name}")
        for name, hint in typing.get_type_hints(module, include_extras=True).items():
            for part in (hint, *typing.get_args(hint)):
                for note in getattr(part, "__metadata__", ()):
                    if isinstance(note, Unit) and not name.startswith("_"):
                        yield Constant(name, getattr(module, name), note.spelling, info.name)


@functools.cache
def get_constants() -> Mapping[str, Constant]:
    """Return the constants that are one number, by name."""
    return MappingProxyType({each.name: each for each in list_constants() if isinstance(each.value, float)})
