"""Limit what one request may cost: checked before the work and between its parts.

A server makes a `Budget` for each request and works within it (``with budget:``); whatever computes calls `check`
between blocks of rows. Without a budget, on the command line or in the library, nothing is limited.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from contextvars import ContextVar, Token
from typing import Any

import numpy as np

from gramwatt.engine.limits import (
    BYTES_PER_SECOND,
    FREE_RESPONSE_BYTES,
    FREE_RESULT_ROWS,
    MAX_RESULT_ROWS,
    REQUEST_SECONDS,
    RESPONSE_BYTES_PER_BYTE,
    RESULT_ROWS_PER_SAMPLE,
)
from gramwatt.model import AnyCalculator, Recording, TimeSeries
from gramwatt.model.messages import InputError


class TooMuchWork(Exception):
    """A request needs more than its budget. ``detail`` has the limit, what the request needs, and how to reduce it."""

    def __init__(self, detail: str) -> None:
        super().__init__(detail)
        self.detail = detail


class TimeLimitExceeded(TooMuchWork):
    """The computing time of a request is used up."""


class Cancelled(Exception):
    """Nobody waits for the response any more."""


def _never() -> bool:
    return False


class Budget:
    """What is left of one request's computing time and rows of results.

    ``seconds`` of the processor's time, each `BYTES_PER_SECOND` bytes of a body add one; waiting costs nothing.
    ``is_cancelled`` returns whether the client is gone; it is cheap and safe to call from any
    thread. A budget is entered by one thread at a time.
    """

    def __init__(self, seconds: float = REQUEST_SECONDS, is_cancelled: Callable[[], bool] = _never) -> None:
        self.seconds, self.is_cancelled = seconds, is_cancelled
        self.rows_each = self.rows_left = MAX_RESULT_ROWS
        """Rows of results that one row of a request may have, and all of them together."""
        self._received, self._made, self._used, self._entered = 0, 0, 0.0, 0.0
        self._token: Token[Budget | None] | None = None

    def __enter__(self) -> Budget:
        self._token, self._entered = _current.set(self), time.thread_time()
        return self

    def __exit__(self, *_: object) -> None:
        self._used += time.thread_time() - self._entered
        if self._token is not None:
            _current.reset(self._token)
            self._token = None

    def receive(self, size: int) -> None:
        """Count bytes of the body."""
        self._received += size

    def make(self, size: int) -> None:
        """Count bytes of a table's answer. Raises TooMuchWork where they are more than those that were sent allow for.

        A grid, of which nothing is sent, is bounded by its points.
        """
        self._made += size
        limit = FREE_RESPONSE_BYTES + RESPONSE_BYTES_PER_BYTE * self._received
        if self._received and self._made > limit:
            raise TooMuchWork(
                f"The response is longer than the {limit} bytes allowed for a request of {self._received} bytes: "
                "pass fewer columns through (keep), or send fewer rows at once"
            )

    def check(self) -> None:
        """Raise Cancelled where the client is gone, OutOfTime where the time is used up."""
        if self.is_cancelled():
            raise Cancelled
        seconds = self.seconds + self._received / BYTES_PER_SECOND
        if self._used + time.thread_time() - self._entered > seconds:
            raise TimeLimitExceeded(f"this took more than the {seconds:.3g} s that it may: ask for less at once")


_current: ContextVar[Budget | None] = ContextVar("budget", default=None)


def get_current() -> Budget | None:
    """Return the budget of the current request, None where nothing is limited."""
    return _current.get()


def check() -> None:
    """Raise Cancelled or OutOfTime where the current request should not go on."""
    budget = _current.get()
    if budget is not None:
        budget.check()


def count_response_bytes(size: int) -> None:
    """Count bytes of the response to a table. Raises TooMuchWork."""
    budget = _current.get()
    if budget is not None:
        budget.make(size)


def reserve_result_rows(calculator: AnyCalculator, given: Any, rows: int) -> Mapping[int, Sequence[InputError]]:
    """Take the rows that tables of results will have from the budget; return the problems of rows that ask for more.

    ``given`` holds complete inputs, ``rows`` of them. Recordings allow for more than few bytes may ask for.
    """
    budget = _current.get()
    declared = [(name, kind, kind.length) for name, kind in calculator.result_tables.items() if kind.length is not None]
    if budget is None or not declared:
        return {}
    errors: dict[int, list[InputError]] = {}
    samples = count_samples(calculator, given, rows)
    for name, kind, length in declared:
        counts = np.nan_to_num(length.rows(given), nan=0.0, posinf=1e18)
        for row in np.flatnonzero(counts > 0).tolist():
            count, allowed = int(counts[row]), FREE_RESULT_ROWS + RESULT_ROWS_PER_SAMPLE * int(samples[row])
            limit = min(kind.max_length, budget.rows_each, budget.rows_left, allowed)
            if count <= limit:
                budget.rows_left -= count
                continue
            detail = f"{name} would have {count} rows; at most {limit} are allowed here"
            if limit == allowed:
                detail += f": {FREE_RESULT_ROWS}, and {RESULT_ROWS_PER_SAMPLE} for each recorded sample"
            errors.setdefault(row, []).append(
                InputError("", detail, None, f"at most {limit} rows: {length.how_to_reduce}")
            )
    return errors


def count_samples(calculator: AnyCalculator, given: Any, rows: int) -> Any:
    """Return how many samples the recordings of each row hold (N,)."""
    counts_by_row = np.zeros(rows)
    for name, kind in calculator.input_fields.items():
        columns = {} if isinstance(kind, TimeSeries) else kind.columns
        owner = getattr(given, name)
        recordings = [owner] if isinstance(kind, TimeSeries) else []
        recordings += [getattr(owner, inner) for inner, column in columns.items() if isinstance(column, TimeSeries)]
        for column in recordings:
            counts = [each.rows if isinstance(each, Recording) else 0 for each in column.ravel()]
            counts_by_row += np.reshape(counts, column.shape).reshape(rows, -1).sum(axis=1)
    return counts_by_row
