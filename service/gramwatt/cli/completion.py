"""What the shell proposes: calculators, inputs with their options, results and units."""

from __future__ import annotations

from collections.abc import Iterable

import click
from click.shell_completion import CompletionItem

from gramwatt.cli.craft import VARIABLE
from gramwatt.engine import registry
from gramwatt.model import AnyCalculator, Choice, Flag, Kind, get_label, units


def complete_calculators(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the calculators whose name begins with what was typed."""
    names = [name for name in registry.list_names() if name.startswith(incomplete)]
    return [CompletionItem(name, help=registry.get(name).title) for name in names]


def complete_inputs(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the inputs that were not given yet as ``name=``, or the options of the one before the ``=``."""
    calculator = _get_calculator(ctx)
    if calculator is None:
        return []
    name, equals, value = incomplete.partition("=")
    fields = {name: kind for name, kind in calculator.input_fields.items() if kind.fits_query}
    if equals:
        options = _list_options(fields[name]) if name in fields else ()
        return [CompletionItem(f"{name}={option}") for option in options if option.startswith(value)]
    given = {each.partition("=")[0] for each in ctx.params.get("inputs") or ()}
    proposed = {each: get_label(each, kind) for each, kind in fields.items()}
    if ctx.meta.get(VARIABLE):
        from gramwatt.engine.craft_fields import get_choices

        proposed |= {choice: f"one of the {table} of the craft" for choice, table in get_choices().items()}
    return [
        CompletionItem(f"{each}=", help=text)
        for each, text in proposed.items()
        if each.startswith(incomplete) and each not in given
    ]


def complete_results(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the results of the calculator."""
    calculator = _get_calculator(ctx)
    fields = calculator.result_fields if calculator is not None else {}
    return [CompletionItem(name, help=get_label(name, kind)) for name, kind in fields.items() if
            name.startswith(incomplete)]  # fmt: skip


def complete_units(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return ``result:unit`` pairs."""
    calculator = _get_calculator(ctx)
    fields = calculator.result_fields if calculator is not None else {}
    before, comma, last = incomplete.rpartition(",")
    return [
        CompletionItem(f"{before}{comma}{name}:{unit}")
        for name, kind in fields.items()
        for unit in _list_units(kind)
        if f"{name}:{unit}".startswith(last)
    ]


def complete_charts(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the calculator's charts."""
    calculator = _get_calculator(ctx)
    charts = calculator.charts if calculator is not None else ()
    return [CompletionItem(chart.name, help=chart.title) for chart in charts if chart.name.startswith(incomplete)]


def _list_units(kind: Kind) -> Iterable[str]:
    return units.compatible_units(kind.quantity.unit) if kind.quantity is not None else ()


def _list_options(kind: Kind) -> Iterable[str]:
    if isinstance(kind, Flag):
        return ("true", "false")
    return kind.options if isinstance(kind, Choice) else ()


def _get_calculator(ctx: click.Context) -> AnyCalculator | None:
    """Return the calculator that was typed before."""
    # Where an option lacks its value, click has not separated the arguments yet.
    words = (ctx.params.get("name"), *ctx.args)
    name = next((word for word in words if word in registry.list_names()), None)
    return None if name is None else registry.get(name)
