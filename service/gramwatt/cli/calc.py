"""``gramwatt calc``: one calculation."""

from __future__ import annotations

from typing import IO, Any, Final

import click

from gramwatt.cli.errors import fail
from gramwatt.cli.inputs import parse_units, read_inputs
from gramwatt.cli.text_report import format_report
from gramwatt.engine import serializers
from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, compute_response, get_calculator
from gramwatt.engine.formats import OutputOptions, compute_output, get_media_types
from gramwatt.model import Calculator
from gramwatt.model.messages import close_matches, join_with_or

_EXAMPLES: Final = """\b
Examples:
  gramwatt calc pack-energy cells=6 capacity=1300
  gramwatt calc pack-energy cells=6 capacity="1.3 Ah" --value usable_energy
"""


@click.command("calc", epilog=_EXAMPLES)
@click.argument("name", metavar="CALCULATOR")
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...")
@click.option(
    "--body", type=click.File("rb"), help="JSON file with the inputs, as in a POST request; - is standard input."
)
@click.option(
    "--log",
    "logs",
    type=click.File("rb"),
    multiple=True,
    help="Recording of a flight: CSV, NDJSON, JSON or Arrow, by its extension. Repeat it to compare flights.",
)
@click.option(
    "--column",
    multiple=True,
    metavar="CHANNEL=NAME",
    help="Column of the recording that holds a channel, e.g. voltage='my volts [mV]'.",
)
@click.option("--json", "form", flag_value="json", help="Print the response of the service as JSON.")
@click.option("--csv", "form", flag_value="csv", help="Print a header line and one row.")
@click.option("--format", "form", metavar="FORMAT", help="Print json, csv or a format of this calculator.")
@click.option("--value", metavar="RESULT", help="Print one result without its unit.")
@click.option(
    "--units", default="", metavar="RESULT:UNIT,...", help="Convert results to other units: usable_energy:kJ."
)
@click.option("--working", is_flag=True, help="Show the formula, numbers and sources of each result.")
def calc(
    name: str,
    inputs: tuple[str, ...],
    body: IO[bytes] | None,
    logs: tuple[IO[bytes], ...],
    column: tuple[str, ...],
    form: str | None,
    value: str | None,
    units: str,
    working: bool,
) -> None:
    """Run one calculation."""
    try:
        calculator = get_calculator(name)
    except UnknownCalculator as error:
        fail(str(error))
    _check_output(calculator, form, value)
    values, text = read_inputs(calculator, inputs, body, logs, column)
    try:
        if form is not None and value is None:
            for chunk in compute_output(
                calculator, values, OutputOptions(form, parse_units(units), working), text=text
            ):
                click.echo(chunk, nl=False)
            return
        response = compute_response(calculator, values, text=text, result_units=parse_units(units), working=working)
    except InvalidInput as error:
        fail(str(error))
    click.echo(format_report(response) if value is None else _format_value(response, value))


def _check_output(calculator: Calculator[Any, Any], form: str | None, value: str | None) -> None:
    """Exit if the calculator has no such format or result."""
    if value is not None and value not in calculator.result_fields:
        known = close_matches(value, calculator.result_fields) or calculator.result_fields
        fail(f"{calculator.name} has no result {value!r}; choose {join_with_or(known)}")
    if form is not None and form not in get_media_types(calculator):
        fail(f"{calculator.name} has no format {form!r}; choose {join_with_or(get_media_types(calculator))}")


def _format_value(response: dict[str, Any], name: str) -> str:
    """Return one result as text. Exit with the reason if it is empty."""
    value = response["results"][name]
    if value is None:
        fail(" ".join(note["text"] for note in response["cautions"] if name in note.get("results", ())))
    return serializers.format_value(value)
