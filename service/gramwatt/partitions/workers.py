"""Who computes the parts: this process, or a pool of processes on this machine."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import connection
from typing import Any, Protocol


class WorkersError(Exception):
    """The workers cannot be used, or failed; the text is one line for the user."""


class Workers(Protocol):
    """Computes ``function(*task)`` of each task."""

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the results as they are ready, in any order, a bounded number of tasks under way."""
        ...


class ThisProcess:
    """Computes one task after the other."""

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the results in order."""
        return (function(*task) for task in tasks)


class Pool:
    """Computes on so many processes. They are started afresh: a fork would lose the threads of libraries."""

    def __init__(self, jobs: int) -> None:
        self._jobs = jobs

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the results as they are ready. Raises WorkersError where a process ends."""
        source, under_way = iter(tasks), set[Future[Any]]()
        spawn = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(self._jobs, mp_context=spawn, initializer=_begin)
        try:
            while True:
                while len(under_way) < 2 * self._jobs and (task := next(source, None)) is not None:
                    under_way.add(pool.submit(function, *task))
                if not under_way:
                    return
                finished, under_way = wait(under_way, return_when=FIRST_COMPLETED)
                # Those that succeeded first: a failure ends the run, and what is done shall be recorded.
                for future in sorted(finished, key=lambda future: future.exception() is not None):
                    yield future.result()
        except (BrokenProcessPool, MemoryError):
            raise WorkersError("a worker process ended: killed, or out of memory") from None
        finally:
            pool.shutdown(cancel_futures=True)


def _begin() -> None:
    """Compute with one thread, as the processes share the cores; leave Ctrl+C to the parent, and end as it ends."""
    import pyarrow as pa

    pa.set_cpu_count(1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)


def stop_processes() -> bool:
    """Stop the pool's processes at once, as at Ctrl+C. Return whether there are any: the program then has to leave in
    good order, since semaphores are shared with them."""
    processes = multiprocessing.active_children()
    for process in processes:
        process.terminate()
    return bool(processes)
