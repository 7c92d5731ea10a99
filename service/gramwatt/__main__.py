"""The command line: gramwatt serve | calc | batch | sweep | chart | list | check | contract."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import IO, Any, Final
from urllib.parse import parse_qsl

import click

from gramwatt.cli.inputs import read_inputs
from gramwatt.cli.messages import LazyGroup, fail, parse_units
from gramwatt.engine import registry, serializers
from gramwatt.engine.calculate import InvalidInput, UnknownCalculator, compute_response, get_calculator
from gramwatt.engine.formats import OutputOptions, compute_output, get_media_types
from gramwatt.engine.query_strings import find_example_query
from gramwatt.model import Quantity
from gramwatt.model.messages import close_matches, format_quantity, join_with_or
from gramwatt.version import __version__

LATER: Final = {
    "batch": "gramwatt.cli.batch:batch",
    "check": "gramwatt.cli.check:check",
    "chart": "gramwatt.cli.chart:chart",
    "sweep": "gramwatt.cli.sweep:sweep",
}


@click.group(cls=LazyGroup, later=LATER, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="gramwatt")
def main() -> None:
    """Calculators for light electric multirotors."""


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(1, 65535), help="Port to listen on.")
def serve(host: str, port: int) -> None:
    """Start the service."""
    from gramwatt.server.run import serve as run

    shown = "localhost" if host in ("127.0.0.1", "0.0.0.0", "::", "::1") else host  # noqa: S104 - only compared
    calculator, query = next((c, q) for c in registry.load().values() if (q := find_example_query(c)) is not None)
    answer = compute_response(calculator, dict(parse_qsl(query)), text=True)
    value = format_quantity(answer["results"][calculator.headline], answer["units"][calculator.headline])

    def ready() -> None:
        click.echo(f"Gramwatt {__version__} answers at http://{shown}:{port}/ (Ctrl+C ends it).")
        click.echo(
            f"{calculator.title} http://{shown}:{port}/v1/{calculator.name}/{calculator.headline}?{query}  ->  {value}"
        )
        sys.stdout.flush()

    run(host, port, ready)


@main.command()
@click.argument("name")
@click.argument("inputs", nargs=-1)
@click.option("--body", type=click.File("rb"), help="JSON file with the inputs, as for a POST; - reads standard input.")
@click.option(
    "--log",
    "logs",
    type=click.File("rb"),
    multiple=True,
    help="Recording of a flight: CSV, NDJSON, JSON or Arrow, by its name; of several flights where those are compared.",
)
@click.option("--column", multiple=True, metavar="CHANNEL=NAME", help="Of the recording: voltage='my volts [mV]'.")
@click.option("--json", "form", flag_value="json", help="The answer as JSON, byte for byte the service's.")
@click.option("--csv", "form", flag_value="csv", help="Header line and one row.")
@click.option("--format", "form", metavar="FORM", help="json, csv, or a form of the calculator's own.")
@click.option("--value", metavar="RESULT", help="One bare value.")
@click.option("--units", default="", help="Units of results: usable_energy:kJ,...")
@click.option("--working", is_flag=True, help="Formula, numbers and sources of each result.")
def calc(
    name: str,
    inputs: tuple[str, ...],
    body: Any,
    logs: tuple[IO[bytes], ...],
    column: tuple[str, ...],
    form: str | None,
    value: str | None,
    units: str,
    working: bool,
) -> None:
    """Ask a calculator: gramwatt calc pack-energy cells=6 capacity=1300."""
    try:
        calculator = get_calculator(name)
    except UnknownCalculator as error:
        fail(str(error))
    if value is not None and value not in calculator.result_fields:
        known = close_matches(value, calculator.result_fields) or calculator.result_fields
        fail(f"{name} has no result {value!r}; it gives {join_with_or(known)}")
    if form is not None and form not in get_media_types(calculator):
        fail(f"{name} is not to be had as {form!r}; it is as {join_with_or(get_media_types(calculator))}")
    question, text = read_inputs(calculator, inputs, body, logs, column)
    try:
        if form is not None and value is None:
            for piece in compute_output(
                calculator, question, OutputOptions(form, parse_units(units), working), text=text
            ):
                click.echo(piece, nl=False)
            return
        answer = compute_response(calculator, question, text=text, result_units=parse_units(units), working=working)
    except InvalidInput as refused:
        fail(str(refused))
    if value is not None:
        if answer["results"][value] is None:
            fail(" ".join(note["text"] for note in answer["cautions"] if value in note.get("results", ())))
        click.echo(serializers.format_value(answer["results"][value]))
    else:
        click.echo(sheet(answer))


MAX_SHOWN_ROWS: Final = 12
"""Rows of a table on a terminal."""


def sheet(answer: dict[str, Any]) -> str:
    """An answer as lines for a terminal; a table as a line for each column, its rows side by side."""
    lines = []
    width = max(20, *(len(name) for name in _flat(answer))) + 2
    for name, value in _flat(answer).items():
        unit = answer["units"].get(name, "1")
        told = _shown(value)
        spread = answer.get("uncertainty", {}).get(name, {}).get("standard")
        wide = any(spread) if isinstance(spread, list) else spread
        more = f" ± {serializers.format_value(spread, digits=2).replace(',', '  ')}" if wide else ""
        lines.append(f"{name:<{width}}{told}{more}{'' if unit == '1' or value is None else ' ' + unit}")
        for kind, step in answer.get("working", {}).get(name, {}).items():
            shown = "; ".join(reference["text"] for reference in step) if kind == "references" else step
            lines.append(f"    {kind}: {shown}")
    for mark in ("solved", "assumed"):
        named = ", ".join(f"{name} = {_given(answer, name)}" for name in answer.get(mark, ()))
        lines += [f"{mark}: {named}"] if named else []
    lines += [f"! {caution['text']}" for caution in answer["cautions"]]
    return "\n".join(lines)


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return "  ".join("-" if each is None else _shown(each) for each in value) or "none"
    return "no answer" if value is None else serializers.format_value(value, digits=6)


def _flat(answer: dict[str, Any]) -> dict[str, Any]:
    """The results, each column of a table as a list."""
    flat: dict[str, Any] = {}
    for name, value in answer["results"].items():
        if isinstance(value, list) and len(value) > MAX_SHOWN_ROWS and isinstance(value[0], dict):
            flat[name] = f"{len(value)} rows; --json and --csv show them"
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            columns = dict.fromkeys(column for row in value for column in row)
            flat |= {f"{name}.{column}": [row.get(column) for row in value] for column in columns}
        else:
            flat[name] = value
    return flat


def _given(answer: dict[str, Any], name: str) -> str:
    unit = answer["units"].get(name, "1")
    return serializers.format_value(answer["given"][name], digits=6) + ("" if unit == "1" else f" {unit}")


@main.command("list")
@click.option("--markdown", is_flag=True, help="As the table in README.md.")
def list_calculators(markdown: bool) -> None:
    """List the calculators."""
    if markdown:
        click.echo("| calculator | answers | headline |\n| --- | --- | --- |")
    for name, calculator in registry.load().items():
        if markdown:
            kind = calculator.result_fields[calculator.headline]
            unit = f" [{kind.unit}]" if isinstance(kind, Quantity) else ""
            click.echo(f"| `{name}` | **{calculator.title}** {calculator.summary} | `{calculator.headline}`{unit} |")
            continue
        click.echo(f"{name:<22}{calculator.summary}")
        click.echo(f"{'':<22}{', '.join(calculator.input_fields)} -> {', '.join(calculator.result_fields)}")


@main.command()
@click.option("--write", type=click.Path(file_okay=False, path_type=Path), help="Write both files into this folder.")
def contract(write: Path | None) -> None:
    """Print the OpenAPI contract as YAML, or write it as YAML and JSON."""
    from gramwatt.web.openapi.document import build_document, to_yaml

    made = build_document()
    if write is None:
        click.echo(to_yaml(made).decode(), nl=False)
        return
    write.mkdir(parents=True, exist_ok=True)
    (write / "gramwatt.openapi.yaml").write_bytes(to_yaml(made))
    (write / "gramwatt.openapi.json").write_text(
        json.dumps(made, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )
    click.echo(f"wrote gramwatt.openapi.yaml and gramwatt.openapi.json into {write}")


if __name__ == "__main__":
    main()
