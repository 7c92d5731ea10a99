"""The schemas of working: steps, the rows of those that are columns of tables, and the sources that they cite."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gramwatt.engine.working import MAX_ROWS
from gramwatt.web.openapi.building import make_array, make_integer, make_result_object, make_text
from gramwatt.web.openapi.naming import JsonObject, refer

MAX_REFERENCES: Final = 100
_NUMBERS: Final = 100_000
"""Characters of a formula with numbers, which may be a sum over the rows of a table."""

WORKING_SCHEMAS: Final[Mapping[str, JsonObject]] = {
    "Working": make_result_object(
        {
            "steps": make_array(refer("WorkingStep"), 1000, description="Each below those that its formula names."),
            "references": make_array(refer("Reference"), MAX_REFERENCES),
        },
        description="With working=true: how each result was computed.",
    ),
    "WorkingStep": make_result_object(
        {
            "name": make_text(
                128, description="A result, a step, an assumed input, or a column of a table: `table.column`."
            ),
            "label": make_text(64),
            "unit": make_text(16, description="Of a quantity."),
            "value": {"type": "number", "format": "double"},
            "formula": make_text(
                description="The formula that was used, true in SI units. It names inputs, results, steps and "
                "constants; `sum(table.column)` runs over the rows of a table.",
            ),
            "numbers": make_text(_NUMBERS, description="The same with numbers of six digits; temperatures in kelvin."),
            "method": make_text(description="How it is computed, in words."),
            "rows": make_array(refer("WorkingRow"), MAX_ROWS, description="Of a column of a table."),
            "omitted_rows": make_integer(1, 2**31, description="Number of rows beyond these."),
            "references": make_array(make_integer(1, MAX_REFERENCES), MAX_REFERENCES),
        },
        *("unit", "value", "formula", "numbers", "method", "rows", "omitted_rows"),
    ),
    "WorkingRow": make_result_object(
        {
            "name": make_text(200, description="Name of the row, or its number from 1."),
            "value": {"type": ["number", "null"], "format": "double"},
            "formula": make_text(description="Where it is another one than that of the step."),
            "numbers": make_text(_NUMBERS),
        },
        "formula",
        "numbers",
    ),
    "Reference": make_result_object(
        {
            "number": make_integer(1, MAX_REFERENCES),
            "text": make_text(1000),
            "url": {"type": "string", "format": "uri", "maxLength": 500},
        },
        "url",
    ),
}
