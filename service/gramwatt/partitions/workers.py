"""Workers that compute the parts: this process, or a pool of processes on this machine."""

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
    """The workers cannot be used, or failed. The text is one line for the user."""


class Workers(Protocol):
    """Computes ``function(*task)`` for each task."""

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the results as they are ready, in any order, with a bounded number of pending tasks."""
        ...


class ThisProcess:
    """Computes one task after the other in this process."""

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the results in order."""
        return (function(*task) for task in tasks)


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
            raise WorkersError("a worker process ended: killed, or out of memory") from None
        finally:
            pool.shutdown(cancel_futures=True)


def _set_up_process() -> None:
    """Use one thread, since the processes share the cores. Leave Ctrl+C to the parent, and exit when it exits."""
    import pyarrow as pa

    pa.set_cpu_count(1)
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
