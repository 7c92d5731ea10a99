"""Gramwatt: calculators for people who build, weigh, fly and report on small electric multirotors."""

from typing import TYPE_CHECKING

from gramwatt.version import __version__

if TYPE_CHECKING:
    from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, calculate

__all__ = ["InvalidInput", "UnknownCalculator", "__version__", "calculate"]


def __getattr__(name: str) -> object:
    """Import the engine at first use, so that declarations and physics work without it."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from gramwatt.engine import calculate

    return getattr(calculate, name)
