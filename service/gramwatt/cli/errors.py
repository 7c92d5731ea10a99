"""Errors of the command line: lines on standard error, and exit status 2."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

import click

if TYPE_CHECKING:
    from gramwatt.model.messages import InputError


def fail(message: str) -> NoReturn:
    """Print an error and exit with status 2."""
    click.echo(message, err=True)
    sys.exit(2)


def fail_with_errors(errors: Sequence[InputError]) -> NoReturn:
    """Print a line for each error and exit with status 2."""
    from gramwatt.engine.calculate import format_error

    fail("\n".join(format_error(error) for error in errors))
