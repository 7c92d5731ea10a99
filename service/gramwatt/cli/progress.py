"""What a long command shows: a progress bar, a summary at the end, a line if it is interrupted."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import FrameType
from typing import Any, Final, NoReturn

import click

_INTERRUPTED: Final = "interrupted; no file was written\n"


@dataclass(slots=True)
class RunSummary:
    """The counts of a run. ``failure`` says why the table ended early, if it did."""

    rows: int = 0
    invalid: int = 0
    failure: str | None = None
    noun: str = "row"

    def report(self, output: str) -> NoReturn:
        """Print a line on standard error and exit: with 0 if every row was computed, else with 1."""
        line = f"{pluralize(self.rows - self.invalid, self.noun)} computed, {self.invalid:,} invalid: {output}"
        if self.failure is not None:
            line += f"; the table ended early: {self.failure}"
        click.echo(line, err=True)
        sys.exit(1 if self.invalid or self.failure is not None else 0)


def pluralize(count: int, noun: str) -> str:
    """Return ``1 row``, ``2,000 rows``."""
    return f"{count:,} {noun}" + ("" if count == 1 else "s")


@contextlib.contextmanager
def clean_up_on_signal(message: Callable[[], str] = lambda: _INTERRUPTED) -> Iterator[list[Callable[[], object]]]:
    """Call the functions that the block adds to this list when SIGINT, SIGTERM or SIGHUP arrives, and exit.

    The program prints what ``message`` returns and ends at once, or through `sys.exit` if one of the functions returns
    True. An exception in its place would be lost if it came while a library looks for signals of its own.
    """
    clean_up: list[Callable[[], object]] = []

    def stop(number: int, frame: FrameType | None) -> NoReturn:
        needs_exit = True in [function() for function in clean_up]
        os.write(2, message().encode())
        if needs_exit:
            sys.exit(128 + number)
        os._exit(128 + number)

    signals = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    in_main_thread = threading.current_thread() is threading.main_thread()
    previous = {number: signal.signal(number, stop) for number in signals} if in_main_thread else {}
    try:
        yield clean_up
    except KeyboardInterrupt:  # raised by a library that noticed the signal first
        click.echo(message(), err=True, nl=False)
        sys.exit(128 + signal.SIGINT)
    finally:
        for number, handler in previous.items():
            signal.signal(number, handler)


class Progress:
    """A progress bar on standard error, if that is a terminal and the total is known."""

    def __init__(self, enabled: bool, total: int | None, label: str) -> None:
        self._bar: Any = None
        if enabled and total and sys.stderr.isatty():
            self._bar = click.progressbar(length=total, label=label, file=sys.stderr)
            self._bar.__enter__()

    def advance(self, steps: int) -> None:
        """Move the bar on."""
        if self._bar is not None:
            self._bar.update(steps)

    def close(self) -> None:
        """End the line of the bar."""
        if self._bar is not None:
            self._bar.__exit__(None, None, None)
            self._bar = None
