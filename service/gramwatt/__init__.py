"""Gramwatt: calculators for people who build, weigh, fly and report on small electric multirotors."""

from typing import TYPE_CHECKING

from gramwatt.version import __version__

if TYPE_CHECKING:
    from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, calculate

__all__ = ["InvalidInput", "UnknownCalculator", "__version__", "calculate"]


def __getattr__(name: str) -> object:
    """Load the edge when it is first asked for, so that declarations and physics can be had without it."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from gramwatt.engine import calculate

    return getattr(calculate, name)
