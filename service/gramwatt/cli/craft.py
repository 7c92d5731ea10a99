"""Craft documents on the command line: the option ``--craft``, and ``gramwatt craft check`` and ``show``."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from gramwatt.cli.errors import fail, fail_with_errors
from gramwatt.cli.terminal import get_width, print_text

VARIABLE: Final = "GRAMWATT_CRAFT"
_HELP: Final = (
    "Craft document in JSON or YAML to take inputs from. Further inputs choose rows of its tables: see gramwatt calc "
    "NAME --help."
)
Command = TypeVar("Command", bound=Callable[..., Any])


def craft_option(command: Command) -> Command:
    """Add the option ``--craft`` to a command; `add_craft` adds the document to its inputs."""
    option = click.option(
        "--craft", "craft_file", metavar="FILE", envvar=VARIABLE, show_envvar=True, expose_value=False,
        callback=_remember, help=_HELP,
    )  # fmt: skip
    return option(command)


def _remember(context: click.Context, parameter: click.Parameter, value: str | None) -> None:
    context.meta[VARIABLE] = value or None


def add_craft(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Return the inputs with the craft document of the current command, if it has one. Exit if it is invalid."""
    from gramwatt.engine.craft_fields import MEMBER

    context = click.get_current_context(silent=True)
    path = None if context is None else context.meta.get(VARIABLE)
    if path is None or MEMBER in inputs:
        return dict(inputs)
    return {MEMBER: _read_or_fail(path), **inputs}


def add_craft_text(inputs: Mapping[str, str]) -> dict[str, str]:
    """Return the same with the document as JSON text."""
    from gramwatt.engine.craft_fields import MEMBER

    added = add_craft(inputs)
    if isinstance(added.get(MEMBER), dict):
        added[MEMBER] = json.dumps(added[MEMBER])
    return added


def _read_or_fail(path: str) -> dict[str, object]:
    from gramwatt.engine.craft_files import InvalidCraftFile, read_craft_file

    try:
        return read_craft_file(path)
    except InvalidCraftFile as error:
        fail(str(error))
    except OSError as error:
        fail(f"{path}: {error.strerror or error}")


_EXAMPLES: Final = """\b
Examples:
  gramwatt craft check craft.json
  gramwatt craft show craft.json
  gramwatt calc build --craft craft.json
"""


@click.group("craft", epilog=_EXAMPLES)
def craft() -> None:
    """Check or show a craft document, from which all calculators take inputs."""


@craft.command("check")
@click.argument("file")
def check(file: str) -> None:
    """Check every member of a craft document.

    Exit status: 0 if it is valid, 2 with all errors if not.
    """
    from gramwatt.engine.craft_check import check_craft, list_served

    document = _read_or_fail(file)
    errors = check_craft(document)
    if errors:
        fail_with_errors(errors)
    click.echo(f"{file}: no errors")
    served = list(list_served(document))
    complete = [calculator.name for calculator, missing in served if not missing]
    if complete:
        click.echo(f"Enough for {', '.join(complete)}.")
    for calculator, missing in served:
        if missing:
            click.echo(f"{calculator.name} also needs {', '.join(missing)}.")


@craft.command("show")
@click.argument("file")
def show(file: str) -> None:
    """Print a craft document as tables, with running totals of mass and the mass with each pack."""
    from gramwatt.cli.craft_report import format_craft
    from gramwatt.engine.craft_check import check_craft

    document = _read_or_fail(file)
    errors = check_craft(document)
    if errors:
        fail_with_errors(errors)
    print_text("\n".join(_join(format_craft(document, Path(file).stem, get_width()))))


def _join(blocks: Iterator[list[str]]) -> Iterator[str]:
    for at, block in enumerate(blocks):
        yield from ["", *block] if at else block
