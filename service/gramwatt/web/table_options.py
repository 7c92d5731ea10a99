"""The options of tables, and the formats of their requests and responses."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, Final

from gramwatt.engine.draws import DRAWS, FEW_DRAWS
from gramwatt.engine.limits import MAX_AXIS_POINTS, MAX_AXIS_POINTS_ROW_BY_ROW
from gramwatt.engine.tables.batch import TableFormat
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.plan import Plan, make_plan
from gramwatt.engine.tables.writers import Style
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.model import Calculator, Choice, Count, Flag, Kind, Text
from gramwatt.model.messages import InputError, quote_input
from gramwatt.web.request_parsing import (
    RESPONSE_OPTIONS,
    VALUE_OPTIONS,
    check_formats_of_options,
    negotiate_format,
    parse_content_type,
    parse_result_units,
)

TABLE_OPTIONS: Final[Mapping[str, Kind]] = {
    "units": RESPONSE_OPTIONS["units"],
    "format": Choice(tuple(FORMATS), "The format of the response, instead of an Accept header.", optional=True),
    "header": RESPONSE_OPTIONS["header"],
    "digits": RESPONSE_OPTIONS["digits"],
    "decimal": Choice(
        (".", ","),
        "Decimal sign of CSV, in request and response; with a comma, fields are separated by semicolons.",
        default=".",
    ),
    "sep": Choice(
        (";", "tab"),
        "Separator of CSV in the response, if it is not a comma; that of the request is detected from its header.",
        optional=True,
    ),
    "given": Flag("Add a column for each input, as the service understood it."),
    "uncertainty": Flag(
        "Add three columns for each result: its standard uncertainty (_u) and the ends of its range (_low and _high), "
        f"between which 95 % of the likely cases lie. Each row is drawn {FEW_DRAWS} times, a single request {DRAWS:,} "
        "times."
    ),
}
FORMATS_OF_OPTIONS: Final = {"header": ("csv", "tsv"), "decimal": ("csv", "tsv"), "sep": ("csv",)}
"""The formats of a table that each option changes, see `check_formats_of_options`."""
BATCH_OPTIONS: Final[Mapping[str, Kind]] = {
    **TABLE_OPTIONS,
    "keep": Text(
        "Columns to copy unchanged to the response, separated by commas, or * for all that are not inputs. Columns "
        "named id, name and note are always copied.",
        max_length=400,
        optional=True,
    ),
}
SWEEP_OPTIONS: Final[Mapping[str, Kind]] = {
    **TABLE_OPTIONS,
    "best": Count(
        "Return only this many points: the best by `by`, best first.", at_least=1, at_most=1000, optional=True
    ),
    "by": Text("The result that `best` ranks by; by default the headline.", max_length=64, optional=True),
    "ascending": Flag("Rank the minimum of that result first instead of the maximum."),
    "errors": VALUE_OPTIONS["errors"],
}


def parse_table_format(options: Mapping[str, Any]) -> TableFormat:
    """Return the format of the body. Raises Problem (415) if it is unknown."""
    return TableFormat(parse_content_type(FORMATS, "a table"), _make_style(options))


def negotiate_table_format(options: Mapping[str, Any], default: str, *, has_errors: bool) -> TableFormat:
    """Return the format of the response: the option ``format``, else by Accept. Raises Problem (406)."""
    offered = {default: FORMATS[default], **FORMATS}
    return TableFormat(negotiate_format(offered, None if has_errors else options["format"]), _make_style(options))


def check_table_options(
    options: Mapping[str, Any], response_format: TableFormat, request_format: TableFormat | None = None
) -> list[InputError]:
    """Return an error for each option that the table would ignore. ``decimal`` may be that of the request alone."""
    formats = dict(FORMATS_OF_OPTIONS)
    if request_format is not None and request_format.name in formats["decimal"]:
        del formats["decimal"]
    return check_formats_of_options(TABLE_OPTIONS, options, formats, response_format.name)


def check_ranking_options(options: Mapping[str, Any]) -> list[InputError]:
    """Return an error for each option of a ranking without one."""
    return [
        InputError(
            f"/{name}", f"{name} ranks the points of best", quote_input(options[name]), f"best too, or no {name}"
        )
        for name in ("by", "ascending")
        if options[name] and not options["best"]
    ]


def _make_style(options: Mapping[str, Any]) -> Style:
    default = ";" if options["decimal"] == "," else ","
    separator: str = {"tab": "\t", None: default}.get(options["sep"]) or options["sep"]
    return Style(options["header"], options["digits"], separator, options["decimal"])


def parse_passthrough(options: Mapping[str, Any]) -> Passthrough:
    """Return which columns are copied to the response."""
    names = [name.strip() for name in (options["keep"] or "").split(",")]
    return Passthrough(frozenset(name for name in names if name and name != "*"), "*" in names)


def make_table_plan(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    options: Mapping[str, Any],
    errors: list[InputError],
    *,
    text: bool = True,
    under: str | None = None,
    own: Collection[str] | None = None,
) -> Plan:
    """Return the plan of a table, and append the errors of its constant inputs and units to ``errors``.

    ``under`` is the member of the JSON body that contains the constant inputs, ``own`` the inputs that rows give
    themselves; None where these are in a header.
    """
    plan, constant_errors, unit_errors = make_plan(
        calculator,
        constants,
        text=text,
        result_units=parse_result_units(options["units"], errors),
        show_inputs=bool(options["given"]),
        uncertain=bool(options["uncertainty"]),
        own=own,
    )
    errors += constant_errors if under is None else [error.under(under) for error in constant_errors]
    errors += unit_errors
    return plan


def get_max_points(calculator: Calculator[Any, Any]) -> int:
    """Return how many points one axis may have."""
    return MAX_AXIS_POINTS if calculator.columnwise else MAX_AXIS_POINTS_ROW_BY_ROW
