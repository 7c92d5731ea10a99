"""What several commands make of their words, and how they fail."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterable, Mapping
from typing import Any, NoReturn

import click

from gramwatt.extras import MissingExtra


class LazyGroup(click.Group):
    """The commands of the program. One that needs a library which is not installed fails with a line that says so.

    ``later`` names commands as ``module:attribute`` by their names; each is imported when it is used or listed.
    """

    def __init__(self, *args: Any, later: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._later = later

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, sorted."""
        return sorted([*super().list_commands(ctx), *self._later])

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, imported where need be, or None."""
        if cmd_name not in self._later:
            return super().get_command(ctx, cmd_name)
        module, _, attribute = self._later[cmd_name].partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command."""
        try:
            return super().invoke(ctx)
        except MissingExtra as error:
            fail(str(error))


def fail(message: str) -> NoReturn:
    """Say why nothing can be done, and end with status 2."""
    click.echo(message, err=True)
    sys.exit(2)


def parse_assignments(words: Iterable[str]) -> dict[str, str]:
    """``name=value`` words as a mapping."""
    question: dict[str, str] = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals or name in question:
            fail(f"{word!r}: write each input once, as name=value")
        question[name] = value
    return question


def parse_units(units: str) -> dict[str, str]:
    """``usable_energy:kJ,current:mA`` as a mapping."""
    split = [pair.partition(":") for pair in units.split(",")] if units else []
    chosen = {name: spelling for name, _, spelling in split}
    if len(chosen) < len(split) or not all(colon for _, colon, _ in split):
        fail(f"--units {units[:200]}: write result:unit pairs separated by commas, each result once")
    return chosen
