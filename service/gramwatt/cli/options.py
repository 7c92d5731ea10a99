"""The options that the commands for tables share, and what they come to: a plan, a style, an ending."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import FrameType
from typing import TYPE_CHECKING, Any, Final, NoReturn, TypeVar

import click

from gramwatt.cli.messages import fail, parse_units

if TYPE_CHECKING:
    from gramwatt.engine.tables.compute import Plan
    from gramwatt.engine.tables.writers import Style
    from gramwatt.model.messages import InputError

Command = TypeVar("Command", bound=Callable[..., Any])

FORMATS: Final = ("csv", "tsv", "ndjson", "json", "arrow", "arrow-file", "parquet")
"""``arrow`` is the IPC stream, ``arrow-file`` the IPC file (also known as Feather 2)."""


@dataclass(frozen=True, slots=True)
class TableOptions:
    """What is wanted of the answer, as it was written."""

    units: str
    given: bool
    uncertainty: bool
    sep: str | None
    decimal: str
    digits: int
    header: str


def table_options(command: Command) -> Command:
    """The options of every command that writes a table."""
    for option in reversed(
        (
            click.option(
                "-o",
                "--output",
                "out",
                metavar="OUT",
                help="File or folder/ to write; else standard output.",
            ),
            click.option("--to", type=click.Choice(FORMATS), help="Format to write; else as OUT's name says."),
            click.option("--units", default="", help="Units of results: usable_energy:kJ,..."),
            click.option("--given", is_flag=True, help="A column for each input too, as understood."),
            click.option("--uncertainty", is_flag=True, help="Standard uncertainties, in columns that end in _u."),
            click.option("--sep", type=click.Choice([",", ";", "tab"]), help="Separator of CSV, read and written."),
            click.option(
                "--decimal",
                type=click.Choice([".", ","]),
                default=".",
                help="Decimal sign of CSV, read and written; with a comma, fields are separated by ;.",
            ),
            click.option("--digits", type=click.IntRange(1, 15), default=12, help="Significant digits of CSV."),
            click.option(
                "--header",
                type=click.Choice(["units", "names", "off"]),
                default="units",
                help="Header line of CSV: with units in brackets, bare names, or none.",
            ),
            click.option("--jobs", type=click.IntRange(1, 256), help="Compute on so many processes of this machine."),
            click.option(
                "--scheduler",
                metavar="ADDRESS",
                help="Compute on the workers of this Dask scheduler (tcp://host:8786), which see the files under the "
                "same paths. Needs gramwatt[cluster] here, and the same version of gramwatt on the workers.",
            ),
            click.option(
                "--rows-per-part",
                type=click.IntRange(1),
                help="Rows that a worker computes at once; by default about what takes a second.",
            ),
            click.option(
                "--progress/--no-progress", default=True, help="Show a bar, on a terminal only (the default)."
            ),
        )
    ):
        command = option(command)
    return command


def make_style(wishes: TableOptions) -> Style:
    """How CSV is read and written."""
    from gramwatt.engine.tables.writers import Style

    if wishes.decimal == "," and wishes.sep == ",":
        fail("--sep: a comma cannot separate fields and decimals; accepted: ; or tab with --decimal ,")
    usual = ";" if wishes.decimal == "," else ","
    separator = {"tab": "\t", None: usual}.get(wishes.sep, wishes.sep)
    return Style(wishes.header, wishes.digits, separator or usual, wishes.decimal)


def make_plan_or_fail(name: str, constants: Mapping[str, str], wishes: TableOptions) -> tuple[Plan, list[InputError]]:
    """What every row is asked, and what is wrong with that. Ends the program where no calculator has the name."""
    from gramwatt.engine.calculate import UnknownCalculator, get_calculator
    from gramwatt.engine.tables.compute import make_plan

    try:
        calculator = get_calculator(name)
    except UnknownCalculator as error:
        fail(str(error))
    plan, wrong, of_units = make_plan(
        calculator,
        constants,
        text=True,
        result_units=parse_units(wishes.units),
        show_inputs=wishes.given,
        uncertain=wishes.uncertainty,
    )
    return plan, [*wrong, *of_units]


def fail_with_errors(errors: Sequence[InputError]) -> NoReturn:
    """Tell every fault, and end."""
    from gramwatt.engine.calculate import format_error

    fail("\n".join(format_error(error) for error in errors))


@dataclass(slots=True)
class RunSummary:
    """What there is to say at the end."""

    rows: int = 0
    invalid: int = 0
    failure: str | None = None
    what: str = "row"

    def report(self, where: str) -> NoReturn:
        """One line on standard error, and the status: 0 where every row was answered, else 1."""
        told = f"{pluralize(self.rows - self.invalid, self.what)} answered, {self.invalid:,} with a fault: {where}"
        if self.failure is not None:
            told += f"; the table broke off: {self.failure}"
        click.echo(told, err=True)
        sys.exit(1 if self.invalid or self.failure is not None else 0)


def pluralize(count: int, what: str) -> str:
    """``1 row``, ``2,000 rows``."""
    return f"{count:,} {what}" + ("" if count == 1 else "s")


@contextlib.contextmanager
def clean_up_on_signal(stopped: Callable[[], str] = lambda: _STOPPED) -> Iterator[list[Callable[[], object]]]:
    """Ctrl+C, SIGTERM and SIGHUP call what the block adds to this list, and end the program there and then with the
    line that ``stopped`` returns; in good order where one of those calls returns True.

    An exception in its place would be lost where it comes while a library looks for signals of its own.
    """
    undo: list[Callable[[], object]] = []

    def end(number: int, frame: FrameType | None) -> NoReturn:
        in_order = True in [each() for each in undo]
        os.write(2, stopped().encode())
        if in_order:
            sys.exit(128 + number)
        os._exit(128 + number)

    signals = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    ours = threading.current_thread() is threading.main_thread()
    before = {number: signal.signal(number, end) for number in signals} if ours else {}
    try:
        yield undo
    except KeyboardInterrupt:  # raised by a library that noticed before
        click.echo(stopped(), err=True, nl=False)
        sys.exit(128 + signal.SIGINT)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


_STOPPED: Final = "stopped before the end; no file was written\n"


class Progress:
    """A bar on standard error; nothing where that is no terminal, or where the end is not known."""

    def __init__(self, wanted: bool, total: int | None, label: str) -> None:
        self._bar: Any = None
        if wanted and total and sys.stderr.isatty():
            self._bar = click.progressbar(length=total, label=label, file=sys.stderr)
            self._bar.__enter__()

    def advance(self, steps: int) -> None:
        """So much more is done."""
        if self._bar is not None:
            self._bar.update(steps)

    def close(self) -> None:
        """Leave the line."""
        if self._bar is not None:
            self._bar.__exit__(None, None, None)
            self._bar = None
