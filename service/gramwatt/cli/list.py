"""``gramwatt list``: the calculators."""

from __future__ import annotations

import click

from gramwatt.engine import registry
from gramwatt.model import Quantity


@click.command("list")
@click.option("--markdown", is_flag=True, help="Print the table that README.md contains.")
def list_calculators(markdown: bool) -> None:
    """List the calculators with their inputs and results."""
    if markdown:
        _print_markdown()
        return
    for name, calculator in registry.load().items():
        click.echo(f"{name:<22}{calculator.summary}")
        click.echo(f"{'':<22}{', '.join(calculator.input_fields)} -> {', '.join(calculator.result_fields)}")


def _print_markdown() -> None:
    click.echo("| calculator | answers | headline |\n| --- | --- | --- |")
    for name, calculator in registry.load().items():
        kind = calculator.result_fields[calculator.headline]
        unit = f" [{kind.unit}]" if isinstance(kind, Quantity) else ""
        click.echo(f"| `{name}` | **{calculator.title}** {calculator.summary} | `{calculator.headline}`{unit} |")
