"""``gramwatt check``: what is wrong with calculators and units, before they are served."""

from __future__ import annotations

from collections.abc import Iterator

import click

from gramwatt.cli.messages import fail
from gramwatt.engine import registry
from gramwatt.engine.calculate import UnknownCalculator
from gramwatt.model import DeclarationError


@click.command("check")
@click.argument("names", metavar="[CALCULATOR]...", nargs=-1)
def check(names: tuple[str, ...]) -> None:
    """Check calculators, all of them unless some are named: gramwatt check pack-energy.

    Imports each file, checks its declaration and its units, and computes its examples. Without names it also has Pint
    compute the table of units again. Writes a line for each problem, naming the file, and ends with 1 if there is any.
    """
    for name in names:
        if name not in registry.list_names():
            fail(str(UnknownCalculator(name)))
    chosen = names or registry.list_names()
    problems = [problem for name in chosen for problem in _of_calculator(name)]
    problems += [] if names else _of_units()
    for problem in problems:
        click.echo(problem)
    if problems:
        raise SystemExit(1)
    click.echo(f"{', '.join(names) or f'{len(chosen)} calculators and the units'}: no problems")


def _of_calculator(name: str) -> Iterator[str]:
    from gramwatt.engine.example_checks import find_problems

    path = f"calculators/{name.replace('-', '_')}.py"
    try:
        calculator = registry.get(name)
    except DeclarationError as error:
        yield str(error)
        return
    except Exception as error:  # whatever importing a file may raise
        yield f"{path}: {type(error).__name__}: {error}"
        return
    yield from (f"{path}: {problem}" for problem in find_problems(calculator))


def _of_units() -> Iterator[str]:
    from gramwatt.engine import unit_expressions

    if unit_expressions.MODULE.read_text(encoding="utf-8") != unit_expressions.build_module_source():
        yield "model/unit_table.py: not what Pint computes from unit_expressions.py; run `make contract`"
