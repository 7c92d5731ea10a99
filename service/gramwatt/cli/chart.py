"""``gramwatt chart``: a chart of one calculation, or of a sweep."""

from __future__ import annotations

from pathlib import PurePath
from typing import IO, TYPE_CHECKING, Any, Final

import click

from gramwatt.charts.themes import AUTO, GROUNDS, MAX_SCALE, SHAPES, THEMES, ChartStyle
from gramwatt.cli.completion import complete_calculators, complete_charts, complete_inputs, complete_results
from gramwatt.cli.craft import add_craft_text, craft_option
from gramwatt.cli.errors import fail, fail_with_errors
from gramwatt.cli.inputs import parse_assignments, parse_units, read_inputs, recording_decimal_option

if TYPE_CHECKING:
    from gramwatt.charts.chart_data import ChartData
    from gramwatt.model import Calculator

FORMATS_BY_EXTENSION: Final = {".svg": "svg", ".png": "png", ".txt": "txt"}

_EXAMPLES: Final = """\b
Examples:
  gramwatt chart endurance cells=6 capacity=1300 mean_power=200 -o endurance.svg
  gramwatt chart pack-current cells=6 capacity=1300 --vary pack_power=10:400:40 -o current.png
"""


@click.command("chart", epilog=_EXAMPLES)
@click.argument("name", metavar="CALCULATOR", shell_complete=complete_calculators)
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...", shell_complete=complete_inputs)
@click.option("-o", "--out", metavar="OUT", help="File to write: .svg, .png or .txt (a description in words).")
@click.option(
    "--format",
    "form",
    type=click.Choice(list(FORMATS_BY_EXTENSION.values())),
    help="Format to write.  [default: by the extension of OUT]",
)
@click.option(
    "--vary",
    metavar="NAME=FROM:TO:COUNT",
    shell_complete=complete_inputs,
    multiple=True,
    help="Draw a sweep over a range or a list: cells=3,4,6. Use it twice for a map.",
)
@click.option(
    "--show",
    metavar="RESULT,...",
    shell_complete=complete_results,
    help="Results of a sweep to draw.  [default: the first of the calculator]",
)
@click.option(
    "--chart",
    metavar="NAME",
    shell_complete=complete_charts,
    help="Which of the calculator's charts.  [default: the first]",
)
@click.option("--theme", type=click.Choice([*THEMES, AUTO]), default="light", show_default=True)
@click.option("--shape", type=click.Choice(list(SHAPES)), default="wide", show_default=True)
@click.option("--ground", type=click.Choice(GROUNDS), default="paper", show_default=True)
@click.option(
    "--scale",
    type=click.IntRange(1, MAX_SCALE),
    default=1,
    show_default=True,
    help="Enlarge a PNG so many times.",
)
@click.option("--units", default="", metavar="RESULT:UNIT,...", help="Convert results to other units: current:mA.")
@craft_option
@click.option(
    "--body", type=click.File("rb"), help="JSON file with the inputs, as in a POST request; - is standard input."
)
@click.option("--log", "logs", type=click.File("rb"), multiple=True, help="Recording of a flight.")
@click.option(
    "--column",
    multiple=True,
    metavar="CHANNEL=NAME",
    help="Column of the recording that holds a channel, e.g. voltage='my volts [mV]'.",
)
@recording_decimal_option
def chart(
    name: str,
    inputs: tuple[str, ...],
    out: str | None,
    form: str | None,
    vary: tuple[str, ...],
    show: str | None,
    chart: str | None,
    units: str,
    body: IO[bytes] | None,
    logs: tuple[IO[bytes], ...],
    column: tuple[str, ...],
    recording_decimal: str,
    **look: Any,
) -> None:
    """Draw a chart of one calculation, or of a sweep."""
    from gramwatt.charts import calculator_charts
    from gramwatt.charts.chart_data import NothingToDraw
    from gramwatt.charts.render import render
    from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, get_calculator
    from gramwatt.files.output import Output

    try:
        calculator = get_calculator(name)
    except UnknownCalculator as error:
        fail(str(error))
    chart_format = form or FORMATS_BY_EXTENSION.get(PurePath(out or "").suffix.lower())
    if chart_format is None:
        extensions = ", ".join(FORMATS_BY_EXTENSION)
        fail(f"choose a format: --format svg, png or txt, or -o with a name that ends in {extensions}")
    if vary and (body is not None or logs):
        fail("--vary takes its inputs as arguments, not from --body or --log")
    if show is not None and not vary:
        fail("--show chooses the results of a sweep; add --vary")
    if chart is not None and vary:
        fail("--chart chooses a chart of the results; leave out --vary")
    result_units = parse_units(units)
    try:
        if vary:
            data = _make_sweep_chart(calculator, inputs, vary, show, result_units)
        else:
            values, text = read_inputs(calculator, inputs, body, logs, column, recording_decimal)
            data = calculator_charts.compute_chart(
                calculator, values, text=text, result_units=result_units, chart=chart
            )
    except (NothingToDraw, InvalidInput) as error:
        fail(str(error))
    rendered = render(data, chart_format, ChartStyle(**look))
    try:
        with Output(out) as output:
            output.write(rendered)
            output.commit()
    except OSError as error:
        fail(f"{error.filename or out}: {error.strerror or error}")


def _make_sweep_chart(
    calculator: Calculator[Any, Any],
    inputs: tuple[str, ...],
    vary: tuple[str, ...],
    show: str | None,
    units: dict[str, str],
) -> ChartData:
    from gramwatt.charts import sweep_charts
    from gramwatt.cli.sweep import parse_axes
    from gramwatt.engine.tables.plan import make_plan

    constants = add_craft_text(parse_assignments(inputs))
    _, input_errors, unit_errors = make_plan(
        calculator, constants, text=True, result_units=units, show_inputs=False, uncertain=False, own=None
    )
    errors = [*input_errors, *unit_errors]
    axes = parse_axes(calculator, vary, constants, errors)
    names = sweep_charts.select_results(calculator, show, errors, len(axes))
    errors += sweep_charts.check_axes(calculator, axes)
    if errors:
        fail_with_errors(errors)
    return sweep_charts.compute_chart(calculator, constants, axes, names, text=True, result_units=units)
