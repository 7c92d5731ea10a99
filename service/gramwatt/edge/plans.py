"""What every request to a calculator has in common, derived once from its declaration."""

from __future__ import annotations

import functools
from typing import Any

from gramwatt.declare import Calculator, Caution, Rule


@functools.cache
def rules_and_cautions(calculator: Calculator[Any, Any]) -> tuple[Rule[Any, Any] | Caution[Any, Any], ...]:
    """Return the rules, then the cautions, of a calculator: the order in which an answer lists them."""
    return (*calculator.rules, *calculator.cautions)
