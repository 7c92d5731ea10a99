"""Compute a long search in blocks, wherever the caller of the calculator wants them computed.

A calculator that compares many combinations maps a function over blocks of them. By default each block is computed when
its result is taken. A service checks its limits between blocks, and the command line spreads them over processes or a
cluster; the calculator knows of neither.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Protocol, TypeVar

B = TypeVar("B")
T = TypeVar("T")


class Runner(Protocol):
    """What maps a function over blocks; see `map_blocks`."""

    def __call__(self, function: Callable[[Any], Any], blocks: Iterable[Any], /) -> Iterator[Any]:
        """Return the results in the order of the blocks."""
        ...


def _never_stop() -> None:
    """Set no limit."""


def _map_here(function: Callable[[Any], Any], blocks: Iterable[Any]) -> Iterator[Any]:
    for block in blocks:
        check_limits()
        yield function(block)


_runner: ContextVar[Runner] = ContextVar("runner", default=_map_here)
_check: ContextVar[Callable[[], None]] = ContextVar("check", default=_never_stop)


def map_blocks(function: Callable[[B], T], blocks: Iterable[B]) -> Iterator[T]:
    """Return the results of a function for each block, in the order of the blocks.

    Function, blocks and results must be picklable, as they may travel to other processes: the function once, so it may
    hold much (``functools.partial(count, parts)``); a block each time, so it should be small. Several blocks may be
    computed at once, and more of them than results are taken: a result must follow from its block alone.
    """
    return _runner.get()(function, blocks)


def check_limits() -> None:
    """Raise where the search should not go on, as its time is used up or the client has left.

    `map_blocks` calls it before each block. A loop that may go on for long without a block, such as one that leaves out
    whole branches of combinations, has to call it too.
    """
    _check.get()()


@contextmanager
def use_runner(runner: Runner) -> Iterator[None]:
    """Within it, `map_blocks` maps by another runner."""
    token = _runner.set(runner)
    try:
        yield
    finally:
        _runner.reset(token)


@contextmanager
def use_limits(check: Callable[[], None]) -> Iterator[None]:
    """Within it, `check_limits` calls ``check``, which raises where a search should not go on."""
    token = _check.set(check)
    try:
        yield
    finally:
        _check.reset(token)
