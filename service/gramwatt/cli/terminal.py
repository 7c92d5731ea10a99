"""The terminal: how wide it is, and whether it shows colours."""

from __future__ import annotations

import os
import shutil
import sys
from typing import Final

import click

DEFAULT_WIDTH: Final = 100
"""Characters of a line where the output is no terminal and COLUMNS is not set."""
MIN_WIDTH: Final = 60


def get_width() -> int:
    """Return how many characters a line may have."""
    if not (sys.stdout.isatty() or os.environ.get("COLUMNS")):
        return DEFAULT_WIDTH
    return max(MIN_WIDTH, shutil.get_terminal_size((DEFAULT_WIDTH, 24)).columns)


def print_text(text: str) -> None:
    """Print a text whose colours are left out unless a terminal shows them; NO_COLOR switches them off."""
    click.echo(text, color=False if os.environ.get("NO_COLOR") else None)
