"""What a calculator's chart is computed from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from gramwatt.charts import formatting
from gramwatt.charts.chart_data import Range
from gramwatt.engine.cautions import POSSIBLY
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.response import ResponseBody, get_declared_units
from gramwatt.model import Calculator


@dataclass(frozen=True, slots=True)
class ChartRequest:
    """The inputs of a request with its outcome and its response."""

    calculator: Calculator[Any, Any]
    inputs: Mapping[str, object]
    text: bool
    """Whether the inputs are text, as in a query string."""
    outcome: Outcome
    response: ResponseBody

    def unit(self, name: str) -> str:
        """Return the unit of an input or a result in the response."""
        unit: str = self.response["units"].get(name) or get_declared_units(self.calculator.input_fields).get(name, "1")
        return unit

    def label(self, name: str) -> str:
        """Return the label of an input, a result or a column of a table of results."""
        return formatting.get_field_label(self.calculator, name)

    def axis_label(self, name: str) -> str:
        """Return the label with the unit of the response."""
        return formatting.axis_label(self.label(name), self.unit(name))

    def format_result(self, name: str) -> str:
        """Return a numeric result with its unit and its 95 % range."""
        uncertainty = self.response.get("uncertainty", {}).get(name, {})
        standard, low, high = (uncertainty.get(member) for member in ("standard", "low", "high"))
        return formatting.format_with_range(self.response["results"][name], standard, low, high, self.unit(name))

    def uncertainty(self, name: str) -> Any:
        """Return the standard uncertainty of a result, in the unit of the response; None where it has none."""
        return self.response.get("uncertainty", {}).get(name, {}).get("standard")

    def range(self, name: str, count: int = 1) -> Range:
        """Return the range of a result of ``count`` numbers, in the unit of the response; nan where it has none."""
        uncertainty = self.response.get("uncertainty", {}).get(name, {})
        low, high = (
            np.array(uncertainty.get(end, [None] * count), dtype=np.float64).reshape(-1) for end in ("low", "high")
        )
        return Range(low, high, any(caution["code"].startswith(POSSIBLY) for caution in self.response["cautions"]))
