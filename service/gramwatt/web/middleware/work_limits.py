"""The work of requests: which may take longer than the event loop can spare, and a budget for each."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, Final

from gramwatt.engine import registry
from gramwatt.engine.budget import Budget, Cancelled
from gramwatt.engine.limits import SHORT_INPUT_BYTES, SHORT_NESTED_INPUT_BYTES
from gramwatt.engine.query_strings import fits_query
from gramwatt.model import Calculator, Table

SHORT_SITE_PATHS: Final = ("/health/live", "/health/ready", "/v1", "/v1/units", "/metrics")
"""Paths beside those of calculators whose responses are short, or finished."""


def runs_long(path: str, size: int) -> bool:
    """Return whether a request may take more than some 20 ms of a worker.

    ``path`` is the decoded path and ``size`` the bytes of query and body together. Only what is known to be short is
    not long: calculators whose work their inputs' size bounds, and few other paths. A path that is unknown is long.
    """
    max_bytes = _list_short_paths().get(path.rstrip("/") or "/")
    return max_bytes is None or size > max_bytes


@functools.cache
def _list_short_paths() -> Mapping[str, int]:
    """Return, by path, how many bytes the inputs of a short request may have."""
    paths: dict[str, int] = dict.fromkeys(SHORT_SITE_PATHS, SHORT_INPUT_BYTES)
    for calculator in registry.load().values():
        max_bytes = get_max_short_inputs(calculator)
        if max_bytes > 0:
            paths[f"/v1/{calculator.name}"] = max_bytes
            if fits_query(calculator):
                paths |= {f"/v1/{calculator.name}/{result}": max_bytes for result in calculator.result_fields}
    return paths


def get_max_short_inputs(calculator: Calculator[Any, Any]) -> int:
    """Return how many bytes of inputs a calculator computes in a short time; 0 if even the shortest take long.

    Tables of results with a length of their own, searches, and further forms take long however short the inputs.
    Lists, tables and recordings among the inputs cost time for each entry, and twice as much for each that carries
    uncertainty.
    """
    tables = [kind for kind in calculator.result_fields.values() if isinstance(kind, Table)]
    if calculator.formats or calculator.decided_fields or any(kind.length is not None for kind in tables):
        return 0
    return SHORT_INPUT_BYTES if calculator.columnwise else SHORT_NESTED_INPUT_BYTES


CANCELLED_KEY: Final = "gramwatt.cancelled"
"""In a WSGI environ: a function, to be called from any thread, that returns whether the client is gone."""

Application = Callable[..., Iterable[bytes]]


class WorkLimits:
    """A WSGI application that works within a `Budget` of its own for each request, until its response is closed.

    It calls ``observe`` with each change in the number of long requests "running", unless an adapter counts them.
    """

    def __init__(
        self, application: Application, seconds: float, observe: Callable[[str, int], None] = lambda state, change: None
    ) -> None:
        self._application, self._seconds, self._observe = application, seconds, observe

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Call the application within a budget."""
        budget = Budget(self._seconds, environ.get(CANCELLED_KEY, _never))
        counted = CANCELLED_KEY not in environ and runs_long(environ.get("PATH_INFO", ""), _size(environ))
        if counted:
            self._observe("running", 1)
        try:
            with budget:
                response = self._application(environ, start_response)
        except BaseException:
            if counted:
                self._observe("running", -1)
            raise
        return _BudgetedResponse(response, budget, functools.partial(self._observe, "running", -1) if counted else None)


def _size(environ: Mapping[str, Any]) -> int:
    """Return the bytes of a request's query and of its body, where their number was sent."""
    sent = environ.get("CONTENT_LENGTH") or ""
    return len(environ.get("QUERY_STRING", "")) + (int(sent) if sent.isdecimal() and len(sent) < 20 else 0)


def _never() -> bool:
    return False


class _BudgetedResponse:
    """The chunks of a response, each made within the budget of its request."""

    def __init__(self, response: Iterable[bytes], budget: Budget, on_close: Callable[[], None] | None) -> None:
        self._response, self._budget, self._on_close = response, budget, on_close

    def __iter__(self) -> Iterator[bytes]:
        chunks = iter(self._response)
        while True:
            with self._budget:
                try:
                    chunk = next(chunks, None)
                except Cancelled:  # the end has no reader
                    return
            if chunk is None:
                return
            yield chunk

    def close(self) -> None:
        """Close the response."""
        on_close, self._on_close = self._on_close, None
        try:
            close = getattr(self._response, "close", None)
            if close is not None:
                close()
        finally:
            if on_close is not None:
                on_close()
