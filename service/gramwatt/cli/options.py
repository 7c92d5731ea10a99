"""The options that the commands for tables share."""

from __future__ import annotations

import functools
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click

from gramwatt.cli.errors import fail
from gramwatt.cli.inputs import parse_units

if TYPE_CHECKING:
    from gramwatt.engine.tables.plan import Plan
    from gramwatt.engine.tables.writers import Style
    from gramwatt.model.messages import InputError

FORMATS: Final = ("csv", "tsv", "ndjson", "json", "arrow", "arrow-file", "parquet")
"""``arrow`` is the IPC stream, ``arrow-file`` the IPC file (also known as Feather 2)."""
_CSV_FORMATS: Final = frozenset(("csv", "tsv"))


@dataclass(frozen=True, slots=True)
class TableOptions:
    """The options of a command that writes a table, as they were typed."""

    out: str | None
    to: str | None
    units: str
    given: bool
    uncertainty: bool
    sep: str | None
    decimal: str
    digits: int
    header: str
    jobs: int | None
    scheduler: str | None
    rows_per_part: int | None
    progress: bool


_OPTIONS: Final = (
    click.option("-o", "--output", "out", metavar="OUT", help="Write to a file or folder/ instead of standard output."),
    click.option("--to", type=click.Choice(FORMATS), help="Format to write.  [default: by the extension of OUT]"),
    click.option(
        "--units", default="", metavar="RESULT:UNIT,...", help="Convert results to other units: usable_energy:kJ."
    ),
    click.option("--given", is_flag=True, help="Add a column for each input."),
    click.option(
        "--uncertainty",
        is_flag=True,
        help="Add columns RESULT_u, RESULT_low and RESULT_high: the standard uncertainty and the ends of the range, "
        "between which 95 % of the likely cases lie. Each row is drawn 121 times, a single request 1,849 times.",
    ),
    click.option("--sep", type=click.Choice([",", ";", "tab"]), help="Separator of CSV, for reading and writing."),
    click.option(
        "--decimal",
        type=click.Choice([".", ","]),
        default=".",
        help="Decimal sign of CSV, for reading and writing. With a comma, the separator is a semicolon.",
    ),
    click.option("--digits", type=click.IntRange(1, 12), default=12, help="Significant digits of the results."),
    click.option(
        "--header",
        type=click.Choice(["units", "names", "off"]),
        default="units",
        help="Header line of CSV: names with units, names alone, or none.",
    ),
    click.option("--jobs", type=click.IntRange(1, 256), help="Compute on this many processes of this machine."),
    click.option(
        "--scheduler",
        metavar="ADDRESS",
        help="Compute on the workers of this Dask scheduler (tcp://host:8786). They must see the files under the same "
        "paths and have the same version of gramwatt. Needs gramwatt[cluster].",
    ),
    click.option(
        "--rows-per-part",
        type=click.IntRange(1),
        help="Rows that a worker computes at once.  [default: about one second of work]",
    ),
    click.option("--progress/--no-progress", default=True, help="Show a progress bar on a terminal.  [default: on]"),
)


def table_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the shared options to a command, which gets them as one argument ``options``."""

    @functools.wraps(command)
    def collect(*arguments: Any, **parameters: Any) -> Any:
        options = TableOptions(**{name: parameters.pop(name) for name in TableOptions.__dataclass_fields__})
        return command(*arguments, options=options, **parameters)

    decorated: Callable[..., Any] = collect
    for option in reversed(_OPTIONS):
        decorated = option(decorated)
    return decorated


def make_style(options: TableOptions) -> Style:
    """Return how CSV is read and written. Exit if the options contradict each other."""
    from gramwatt.engine.tables.writers import Style

    if options.decimal == "," and options.sep == ",":
        fail("--sep: a comma cannot be both separator and decimal sign; use ; or tab with --decimal ,")
    default = ";" if options.decimal == "," else ","
    separator = {"tab": "\t", None: default}.get(options.sep, options.sep)
    return Style(options.header, options.digits, separator or default, options.decimal)


def check_style(options: TableOptions, written: str, read: str = "") -> None:
    """Exit if an option of CSV is given for formats of which none is CSV. ``header`` is that of what is written."""
    if options.header != "units" and written not in _CSV_FORMATS:
        fail(f"--header is for CSV, and the output is {written}")
    given = "--sep" if options.sep is not None else "--decimal" if options.decimal != "." else None
    if given is not None and _CSV_FORMATS.isdisjoint((written, read)):
        fail(f"{given} is for CSV; the output is {written}" + (f" and the table {read}" if read else ""))


def make_plan_or_fail(
    name: str, constants: Mapping[str, str], options: TableOptions, own: Collection[str] | None = None
) -> tuple[Plan, list[InputError]]:
    """Return the plan of a table, and the errors in it. Exit if there is no such calculator.

    ``own`` are the inputs that rows give themselves; None where these are in a header.
    """
    from gramwatt.engine.calculate import UnknownCalculator, get_calculator
    from gramwatt.engine.tables.plan import make_plan

    try:
        calculator = get_calculator(name)
    except UnknownCalculator as error:
        fail(str(error))
    plan, input_errors, unit_errors = make_plan(
        calculator,
        constants,
        text=True,
        result_units=parse_units(options.units),
        show_inputs=options.given,
        uncertain=options.uncertainty,
        own=own,
    )
    return plan, [*input_errors, *unit_errors]
