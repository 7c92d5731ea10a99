"""The program ``gramwatt``: its commands by name, each imported when it is used or listed."""

from __future__ import annotations

import importlib
import os
from typing import Any, Final

import click

from gramwatt.cli.errors import fail
from gramwatt.extras import MissingExtra
from gramwatt.model.messages import close_matches, join_with_or
from gramwatt.version import __version__

COMMANDS: Final = {
    "batch": "gramwatt.cli.batch:batch",
    "calc": "gramwatt.cli.calc:calc",
    "chart": "gramwatt.cli.chart:chart",
    "check": "gramwatt.cli.check:check",
    "completion": "gramwatt.cli.shells:completion",
    "contract": "gramwatt.cli.contract:contract",
    "craft": "gramwatt.cli.craft:craft",
    "list": "gramwatt.cli.list:list_calculators",
    "serve": "gramwatt.cli.serve:serve",
    "sweep": "gramwatt.cli.sweep:sweep",
}
"""Module and attribute of each command."""
COMPLETION_VARIABLE: Final = "_GRAMWATT_COMPLETE"
"""In the environment of a call that asks for proposals; click makes its name from that of the program."""
_EXAMPLES: Final = """\b
Examples:
  gramwatt list
  gramwatt calc pack-energy cells=6 capacity=1300
  gramwatt serve
"""


class LazyGroup(click.Group):
    """A group that imports its commands late, and reports a missing library in one line."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, sorted."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command. Return None if there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[cmd_name].partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command and its arguments. Fail with a suggestion if there is none of that name."""
        name = args[0] if args else ""
        if args and name not in COMMANDS and not name.startswith("-"):
            fail(_describe_unknown_command(name))
        return super().resolve_command(ctx, args)

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run the program, or answer a shell that asks for proposals."""
        if COMPLETION_VARIABLE in os.environ:
            importlib.import_module("gramwatt.cli.shells")
        return super().main(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command."""
        try:
            return super().invoke(ctx)
        except MissingExtra as error:
            fail(str(error))


def _describe_unknown_command(name: str) -> str:
    """Return what was probably meant by a command that does not exist."""
    from gramwatt.engine import registry

    if name in registry.list_names():
        return f"{name} is a calculator: gramwatt calc {name}"
    calculators = {f"calc {each}": each for each in registry.list_names()}
    meant = close_matches(name, COMMANDS) or [
        command for command, each in calculators.items() if each in close_matches(name, calculators.values())
    ]
    hint = f"; did you mean {join_with_or(meant)}?" if meant else f"; choose {join_with_or(COMMANDS)}"
    return f"No such command {name[:80]!r}{hint}"


@click.group(cls=LazyGroup, epilog=_EXAMPLES, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="gramwatt")
def main() -> None:
    """Run calculators for light electric multirotors.

    Run "gramwatt COMMAND --help" for the options of a command.
    """
