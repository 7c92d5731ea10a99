"""Workers that compute parts and blocks: this process, or a pool of processes on this machine."""

from __future__ import annotations

import itertools
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import connection
from typing import Any, Final, Protocol, TypeVar

BLOCKS_PER_WORKER: Final = 4
"""Blocks of a search that are sent ahead, so that no worker waits while the first of them takes long."""
_ENDED: Final = "a worker process ended: killed, or out of memory"

T = TypeVar("T")


class WorkersError(Exception):
    """The workers cannot be used, or failed. The text is one line for the user."""


class Workers(Protocol):
    """Computes the parts of a table or a grid, or the blocks of a search."""

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield ``function(*task)`` for each task as it is ready, in any order; few tasks are pending."""
        ...

    def map(self, function: Callable[[Any], Any], blocks: Iterable[Any], /) -> Iterator[Any]:
        """Yield ``function(block)`` in the order of the blocks; few are pending, and a worker gets the function once.

        See `gramwatt.blocks.map_blocks`.
        """
        ...


class ThisProcess:
    """Computes one task after the other in this process."""

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the results in order."""
        return (function(*task) for task in tasks)

    def map(self, function: Callable[[Any], Any], blocks: Iterable[Any], /) -> Iterator[Any]:
        """Yield the result of each block when it is taken."""
        return map(function, blocks)


class Pool:
    """Computes on ``jobs`` processes. They are spawned, since a fork would lose the threads of libraries."""

    def __init__(self, jobs: int) -> None:
        self._jobs = jobs

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the results as they are ready. Raises WorkersError if a process ends."""
        source, pending = iter(tasks), set[Future[Any]]()
        spawn = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(self._jobs, mp_context=spawn, initializer=_set_up_process)
        try:
            while True:
                while len(pending) < 2 * self._jobs and (task := next(source, None)) is not None:
                    pending.add(pool.submit(function, *task))
                if not pending:
                    return
                finished, pending = wait(pending, return_when=FIRST_COMPLETED)
                # Successes first: a failure ends the run, and the parts that are done must be recorded.
                for future in sorted(finished, key=lambda future: future.exception() is not None):
                    yield future.result()
        except (BrokenProcessPool, MemoryError):
            raise WorkersError(_ENDED) from None
        finally:
            pool.shutdown(cancel_futures=True)

    def map(self, function: Callable[[Any], Any], blocks: Iterable[Any], /) -> Iterator[Any]:
        """Yield the results in the order of the blocks. Raises WorkersError if a process ends."""
        spawn = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(self._jobs, mp_context=spawn, initializer=_hold_function, initargs=(function,))
        try:
            sent = (pool.submit(_compute_block, block) for block in blocks)
            for future in look_ahead(sent, BLOCKS_PER_WORKER * self._jobs):
                yield future.result()
        except (BrokenProcessPool, MemoryError):
            raise WorkersError(_ENDED) from None
        finally:
            pool.shutdown(cancel_futures=True)


def look_ahead(items: Iterable[T], count: int) -> Iterator[T]:
    """Yield items in order, each when ``count`` of them were taken, or all: those after it are under way."""
    source, taken = iter(items), deque[T]()
    while True:
        taken.extend(itertools.islice(source, count - len(taken)))
        if not taken:
            return
        yield taken.popleft()


_held: list[Callable[[Any], Any]] = []
"""In a process of a pool: the function that it maps."""


def _hold_function(function: Callable[[Any], Any]) -> None:
    _held.append(function)
    _follow_parent()


def _compute_block(block: Any) -> Any:
    return _held[0](block)


def _set_up_process() -> None:
    """Use one thread, since the processes share the cores."""
    import pyarrow as pa

    pa.set_cpu_count(1)
    _follow_parent()


def _follow_parent() -> None:
    """Leave Ctrl+C to the parent, and exit when it exits."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_exit_with, args=(parent.sentinel,), daemon=True).start()


def _exit_with(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)


def stop_processes() -> bool:
    """Stop the processes of the pool at once.

    Return whether there are any. The program then has to end through `sys.exit`, which releases the semaphores that it
    shares with them.
    """
    processes = multiprocessing.active_children()
    for process in processes:
        process.terminate()
    return bool(processes)
