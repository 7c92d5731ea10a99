"""The options of tables, and the formats they come and go in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gramwatt.engine.tables.batch import TableFormat
from gramwatt.engine.tables.compute import Plan, make_plan
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.writers import Style
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.model import Calculator, Choice, Count, Flag, Kind, Text
from gramwatt.model.messages import InputError
from gramwatt.web.request_parsing import (
    RESPONSE_OPTIONS,
    VALUE_OPTIONS,
    negotiate_format,
    parse_content_type,
    parse_result_units,
)

MAX_TABLE_BYTES: Final = 1024**3

MAX_POINTS: Final = 500

MAX_NESTED_POINTS: Final = 20
"""Along one axis: of a calculator answered by columns, and of one answered question by question."""

MAX_AXES: Final = 2
TABLE_OPTIONS: Final[Mapping[str, Kind]] = {
    "units": RESPONSE_OPTIONS["units"],
    "format": Choice(tuple(FORMATS), "The format of the answer, instead of an Accept header.", optional=True),
    "header": RESPONSE_OPTIONS["header"],
    "digits": RESPONSE_OPTIONS["digits"],
    "decimal": Choice(
        (".", ","), "Decimal sign of CSV, in both directions; with a comma, fields are separated by ;.", default="."
    ),
    "sep": Choice(
        (";", "tab"),
        "Separator of CSV in the answer, where it is no comma; that of a table sent is seen by its header.",
        optional=True,
    ),
    "given": Flag("Add a column for each input, as understood."),
    "uncertainty": Flag("Add the standard uncertainty of each result, as a column that ends in _u."),
}
BATCH_OPTIONS: Final[Mapping[str, Kind]] = {
    **TABLE_OPTIONS,
    "keep": Text(
        "Columns that are no inputs and pass through untouched, separated by commas, or * for all. Those named id, "
        "name and note always do.",
        max_length=400,
        optional=True,
    ),
}
SWEEP_OPTIONS: Final[Mapping[str, Kind]] = {
    **TABLE_OPTIONS,
    "best": Count("Only so many points: those best by `by`, best first.", at_least=1, at_most=1000, optional=True),
    "by": Text("The result that `best` ranks by; the headline unless said.", max_length=64, optional=True),
    "least": Flag("The least of that result is best."),
    "errors": VALUE_OPTIONS["errors"],
}


def parse_table_format(options: Mapping[str, Any]) -> TableFormat:
    """The format of the body. Raises Problem (415) where it is none of ours."""
    return TableFormat(parse_content_type(FORMATS, "a table"), _style(options))


def negotiate_table_format(options: Mapping[str, Any], default: str, *, faulty: bool) -> TableFormat:
    """The format of the answer, by ``format=``, Accept, or the default. Raises Problem (406) where none fits."""
    offered = {default: FORMATS[default], **FORMATS}
    return TableFormat(negotiate_format(offered, None if faulty else options["format"]), _style(options))


def _style(options: Mapping[str, Any]) -> Style:
    usual = ";" if options["decimal"] == "," else ","
    separator: str = {"tab": "\t", None: usual}.get(options["sep"]) or options["sep"]
    return Style(options["header"], options["digits"], separator, options["decimal"])


def parse_passthrough(options: Mapping[str, Any]) -> Passthrough:
    """Which columns pass through."""
    names = [name.strip() for name in (options["keep"] or "").split(",")]
    return Passthrough(frozenset(name for name in names if name and name != "*"), "*" in names)


def make_table_plan(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    options: Mapping[str, Any],
    errors: list[InputError],
    *,
    words: bool = True,
    under: str | None = None,
) -> Plan:
    """What every row is asked; what is wrong with it is added to the faults. ``under``: the member of a body that
    holds what every row shares."""
    plan, wrong, of_units = make_plan(
        calculator,
        constants,
        text=words,
        result_units=parse_result_units(options["units"], errors),
        show_inputs=bool(options["given"]),
        uncertain=bool(options["uncertainty"]),
    )
    errors += wrong if under is None else [error.under(under) for error in wrong]
    errors += of_units
    return plan


def get_max_points(calculator: Calculator[Any, Any]) -> int:
    """How many points one axis may have."""
    return MAX_POINTS if calculator.columnwise else MAX_NESTED_POINTS
