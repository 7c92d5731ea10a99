"""The program ``gramwatt``: its commands by name, each imported when it is used or listed."""

from __future__ import annotations

import importlib
from typing import Any, Final

import click

from gramwatt.cli.errors import fail
from gramwatt.extras import MissingExtra
from gramwatt.version import __version__

COMMANDS: Final = {
    "batch": "gramwatt.cli.batch:batch",
    "calc": "gramwatt.cli.calc:calc",
    "chart": "gramwatt.cli.chart:chart",
    "check": "gramwatt.cli.check:check",
    "contract": "gramwatt.cli.contract:contract",
    "list": "gramwatt.cli.list:list_calculators",
    "serve": "gramwatt.cli.serve:serve",
    "sweep": "gramwatt.cli.sweep:sweep",
}
"""Module and attribute of each command."""
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

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command."""
        try:
            return super().invoke(ctx)
        except MissingExtra as error:
            fail(str(error))


@click.group(cls=LazyGroup, epilog=_EXAMPLES, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="gramwatt")
def main() -> None:
    """Run calculators for light electric multirotors.

    Run "gramwatt COMMAND --help" for the options of a command.
    """
