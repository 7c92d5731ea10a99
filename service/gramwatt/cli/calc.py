"""``gramwatt calc``: one calculation."""

from __future__ import annotations

from typing import IO, Any, Final

import click

from gramwatt.cli.calculator_help import format_calculator_help
from gramwatt.cli.completion import complete_calculators, complete_inputs, complete_results, complete_units
from gramwatt.cli.craft import craft_option
from gramwatt.cli.errors import fail
from gramwatt.cli.inputs import parse_units, read_inputs, recording_decimal_option
from gramwatt.cli.searches import search_options, spread_search
from gramwatt.cli.terminal import get_width, print_text
from gramwatt.cli.text_report import ReportOptions, format_report
from gramwatt.engine import serializers
from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, evaluate_request, get_calculator
from gramwatt.engine.formats import BASE_MEDIA_TYPES, OutputOptions, compute_output, get_media_types
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import build_sentence
from gramwatt.engine.serializers import MAX_DIGITS
from gramwatt.model import Calculator
from gramwatt.model.messages import close_matches, join_with_or

_EXAMPLES: Final = """\b
Examples:
  gramwatt calc pack-energy cells=6 capacity=1300
  gramwatt calc pack-energy cells=6 capacity="1.3 Ah" --value usable_energy
"""


@click.command("calc", epilog=_EXAMPLES, add_help_option=False)
@click.argument("name", metavar="CALCULATOR", required=False, shell_complete=complete_calculators)
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...", shell_complete=complete_inputs)
@craft_option
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
@recording_decimal_option
@click.option("--json", "form", flag_value="json", help="Print the response of the service as JSON.")
@click.option("--csv", "form", flag_value="csv", help="Print a header line and one row.")
@click.option("--format", "form", metavar="FORMAT", help="Print json, csv or a format of this calculator.")
@click.option("--value", metavar="RESULT", shell_complete=complete_results, help="Print one result without its unit.")
@click.option(
    "--units",
    default="",
    metavar="RESULT:UNIT,...",
    shell_complete=complete_units,
    help="Convert results to other units: usable_energy:kJ.",
)
@click.option("--digits", type=click.IntRange(1, 12), help="Significant digits.  [default: those that are certain]")
@click.option("--cautions", "all_cautions", is_flag=True, help="Show the cautions that always hold, too.")
@click.option("--working", is_flag=True, help="Show step by step how each result was computed.")
@search_options
@click.option("-h", "--help", "show_help", is_flag=True, help="Show this message; with a calculator, its inputs.")
def calc(
    name: str | None,
    inputs: tuple[str, ...],
    body: IO[bytes] | None,
    logs: tuple[IO[bytes], ...],
    column: tuple[str, ...],
    recording_decimal: str,
    form: str | None,
    value: str | None,
    units: str,
    digits: int | None,
    all_cautions: bool,
    working: bool,
    jobs: int | None,
    scheduler: str | None,
    show_help: bool,
) -> None:
    """Run one calculation.

    "gramwatt calc CALCULATOR --help" lists the inputs of a calculator, "gramwatt list" the calculators.
    """
    context = click.get_current_context()
    if name is None:
        if show_help:
            click.echo(context.get_help())
            return
        raise click.MissingParameter(ctx=context, param=context.command.params[0])
    try:
        calculator = get_calculator(name)
    except UnknownCalculator as error:
        fail(str(error))
    if show_help:
        print_text(format_calculator_help(calculator, get_width()))
        return
    _check_output(calculator, form, value)
    if digits is not None and form is not None and value is None:
        fail(f"--digits is for text and --value; {form} has all digits")
    if working and (value is not None or form not in (None, "json")):
        fail("--working is for text and --json")
    if units and value is None and form not in (None, *BASE_MEDIA_TYPES):
        fail(f"--units does not change {form}")
    values, text = read_inputs(calculator, inputs, body, logs, column, recording_decimal)
    result_units = parse_units(units)
    with spread_search(calculator, jobs, scheduler):
        if form is not None and value is None:
            _print_output(calculator, values, OutputOptions(form, result_units, working), text=text)
            return
        try:
            outcome = evaluate_request(calculator, values, text=text, result_units=result_units)
        except InvalidInput as error:
            fail(str(error))
    response = build_response(outcome, 0, result_units=result_units, working=working)
    if value is not None:
        click.echo(_format_value(response, value, digits))
        return
    sentence = build_sentence(outcome, 0, response)
    print_text(format_report(calculator, response, sentence, ReportOptions(get_width(), digits, all_cautions)))


def _print_output(
    calculator: Calculator[Any, Any], values: dict[str, object], options: OutputOptions, *, text: bool
) -> None:
    try:
        for chunk in compute_output(calculator, values, options, text=text):
            click.echo(chunk, nl=False)
    except InvalidInput as error:
        fail(str(error))


def _check_output(calculator: Calculator[Any, Any], form: str | None, value: str | None) -> None:
    """Exit if the calculator has no such format or result."""
    if value is not None and value not in calculator.result_fields:
        known = close_matches(value, calculator.result_fields) or calculator.result_fields
        fail(f"{calculator.name} has no result {value!r}; choose {join_with_or(known)}")
    if form is not None and form not in get_media_types(calculator):
        fail(f"{calculator.name} has no format {form!r}; choose {join_with_or(get_media_types(calculator))}")


def _format_value(response: dict[str, Any], name: str, digits: int | None) -> str:
    """Return one result as text. Exit with the reason if it is empty."""
    value = response["results"][name]
    if value is None:
        fail(" ".join(note["text"] for note in response["cautions"] if name in note.get("results", ())))
    return serializers.format_value(serializers.round_results(response, digits or MAX_DIGITS)["results"][name])
