"""``gramwatt chart``: an answer, or a sweep, as a picture."""

from __future__ import annotations

from pathlib import PurePath
from typing import IO, TYPE_CHECKING, Any, Final

import click

from gramwatt.charts.themes import AUTO, GROUNDS, MAX_SCALE, SHAPES, THEMES, ChartStyle
from gramwatt.cli.inputs import read_inputs
from gramwatt.cli.messages import fail, parse_assignments, parse_units

if TYPE_CHECKING:
    from gramwatt.charts.chart_data import ChartData
    from gramwatt.model import Calculator

FORMATS_BY_EXTENSION: Final = {".svg": "svg", ".png": "png", ".txt": "txt"}


@click.command("chart")
@click.argument("name", metavar="CALCULATOR")
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...")
@click.option(
    "-o", "--out", metavar="OUT", help="File to write, its format by its name: .svg, .png or .txt (in words)."
)
@click.option(
    "--format", "form", type=click.Choice(list(FORMATS_BY_EXTENSION.values())), help="The format, whatever the name."
)
@click.option(
    "--vary",
    metavar="NAME=FROM:TO:COUNT",
    multiple=True,
    help="Draw a sweep: an input varied evenly, or over a list: cells=3,4,6. Twice for a map.",
)
@click.option("--show", metavar="RESULT,...", help="Of a sweep: the results drawn; else the calculator's first.")
@click.option("--theme", type=click.Choice([*THEMES, AUTO]), default="light", show_default=True)
@click.option("--shape", type=click.Choice(list(SHAPES)), default="wide", show_default=True)
@click.option("--ground", type=click.Choice(GROUNDS), default="paper", show_default=True)
@click.option(
    "--scale", type=click.IntRange(1, MAX_SCALE), default=1, show_default=True, help="Pixels of PNG, times as many."
)
@click.option("--units", default="", help="Units of results: current:mA,...")
@click.option("--body", type=click.File("rb"), help="JSON file with the inputs, as for a POST; - reads standard input.")
@click.option("--log", "logs", type=click.File("rb"), multiple=True, help="Recording of a flight.")
@click.option("--column", multiple=True, metavar="CHANNEL=NAME", help="Of the recording: voltage='my volts [mV]'.")
def chart(
    name: str,
    inputs: tuple[str, ...],
    out: str | None,
    form: str | None,
    vary: tuple[str, ...],
    show: str | None,
    units: str,
    body: IO[bytes] | None,
    logs: tuple[IO[bytes], ...],
    column: tuple[str, ...],
    **look: Any,
) -> None:
    """Draw an answer or a sweep: gramwatt chart endurance cells=6 capacity=1300 power=200 -o endurance.svg."""
    from gramwatt.charts import calculator_charts
    from gramwatt.charts.chart_data import NothingToDraw
    from gramwatt.charts.render import render
    from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, get_calculator
    from gramwatt.files.output import Output

    try:
        calculator = get_calculator(name)
    except UnknownCalculator as error:
        fail(str(error))
    chosen = form or FORMATS_BY_EXTENSION.get(PurePath(out or "").suffix.lower())
    if chosen is None:
        endings = ", ".join(FORMATS_BY_EXTENSION)
        fail(f"say in which format: --format svg, png or txt, or -o with a name that ends in {endings}")
    if vary and (body is not None or logs):
        fail("a sweep is drawn of inputs given as words")
    if show is not None and not vary:
        fail("--show chooses among the results of a sweep: give --vary with it")
    try:
        if vary:
            sheet = _swept(calculator, inputs, vary, show, parse_units(units))
        else:
            question, text = read_inputs(calculator, inputs, body, logs, column)
            sheet = calculator_charts.compute_chart(calculator, question, text=text, result_units=parse_units(units))
    except (NothingToDraw, InvalidInput) as error:
        fail(str(error))
    made = render(sheet, chosen, ChartStyle(**look))
    try:
        with Output(out) as output:
            output.write(made)
            output.keep()
    except OSError as error:
        fail(f"{error.filename or out}: {error.strerror or error}")


def _swept(
    calculator: Calculator[Any, Any],
    inputs: tuple[str, ...],
    vary: tuple[str, ...],
    show: str | None,
    units: dict[str, str],
) -> ChartData:
    from gramwatt.charts import sweep_charts
    from gramwatt.cli.options import fail_with_errors
    from gramwatt.cli.sweep import parse_axes
    from gramwatt.engine.tables.compute import make_plan

    constants = parse_assignments(inputs)
    _, wrong, of_units = make_plan(
        calculator, constants, text=True, result_units=units, show_inputs=False, uncertain=False
    )
    errors = [*wrong, *of_units]
    axes = parse_axes(calculator, vary, constants, errors)
    names = sweep_charts.select_results(calculator, show, errors, len(axes))
    errors += sweep_charts.check_axes(calculator, axes)
    if errors:
        fail_with_errors(errors)
    return sweep_charts.compute_chart(calculator, constants, axes, names, text=True, result_units=units)
