"""``gramwatt check``: find mistakes in calculators and units before they are served."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import click

from gramwatt.cli.errors import fail
from gramwatt.engine import registry
from gramwatt.engine.calculate import UnknownCalculator
from gramwatt.model import DeclarationError

_EXAMPLES: Final = """\b
Examples:
  gramwatt check pack-energy
"""


@click.command("check", epilog=_EXAMPLES)
@click.argument("names", metavar="[CALCULATOR]...", nargs=-1)
def check(names: tuple[str, ...]) -> None:
    """Check the declarations, units and examples of calculators.

    Without a name it checks all calculators, and has Pint compute the unit table again. It prints a line for each
    problem with the name of the file. Exit status: 0 if there are no problems, else 1.
    """
    for name in names:
        if name not in registry.list_names():
            fail(str(UnknownCalculator(name)))
    chosen = names or registry.list_names()
    problems = [problem for name in chosen for problem in _check_calculator(name)]
    problems += [] if names else _check_units()
    for problem in problems:
        click.echo(problem)
    if problems:
        raise SystemExit(1)
    click.echo(f"{', '.join(names) or f'{len(chosen)} calculators and the units'}: no problems")


def _check_calculator(name: str) -> Iterator[str]:
    from gramwatt.engine.example_checks import find_problems

    path = f"calculators/{name.replace('-', '_')}.py"
    try:
        calculator = registry.get(name)
    except DeclarationError as error:
        yield str(error)
        return
    except Exception as error:  # whatever the import of a file raises
        yield f"{path}: {type(error).__name__}: {error}"
        return
    yield from (f"{path}: {problem}" for problem in find_problems(calculator))


def _check_units() -> Iterator[str]:
    from gramwatt.engine import unit_expressions

    if unit_expressions.MODULE.read_text(encoding="utf-8") != unit_expressions.build_module_source():
        yield "model/unit_table.py differs from what Pint computes from unit_expressions.py; run `make contract`"
