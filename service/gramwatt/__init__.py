"""Gramwatt: calculators for people who build, weigh, fly and report on small electric multirotors."""

from gramwatt.edge.ask import Refused, UnknownCalculator, calculate
from gramwatt.version import __version__

__all__ = ["Refused", "UnknownCalculator", "__version__", "calculate"]
